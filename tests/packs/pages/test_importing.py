"""Bringing a tester's file in on the pages."""

import csv
import io
import re
from html import unescape

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.http import HttpResponse
from django.test import Client

from packs.models import ImportFile, ImportSource, VoltageCheck
from packs.pages import importing
from packs.reads import imports as files
from packs.writes import imports
from tests import world
from tests.packs.testers import COUNT, TESTERS, MadeFile, table
from tests.pages import inline, signed_in, text, words

pytestmark = pytest.mark.django_db
HEAD = ["pack", "time", "condition", "current", *(f"V{n}" for n in range(1, COUNT + 1))]


@pytest.fixture(autouse=True)
def packs() -> None:
    world.pack("TP-0001")
    world.pack("TP-0002")


@pytest.fixture
def bench() -> Client:
    return signed_in("bench")


def filled(page: str) -> dict[str, str]:
    """What a browser would send of the page's last form with fields of its own."""
    form = page.rpartition("<form")[2] if "columns" not in page else page
    sent = {
        unescape(name): unescape(value)
        for name, value in re.findall(r'<input[^>]*?name="([^"]+)"[^>]*?value="([^"]*)"', form)
        if name != "q"
    }
    for name, options in re.findall(r'<select name="([^"]+)".*?>(.*?)</select>', page, re.DOTALL):
        chosen = re.search(r'<option value="([^"]*)" selected', options)
        first = re.search(r'<option value="([^"]*)"', options)
        found = chosen or first
        sent[name] = unescape(found[1]) if found else ""
    return sent


def hand_in(client: Client, content: bytes, name: str = "a.csv", **more: str) -> HttpResponse:
    form = filled(text(client, "/import/"))
    upload = SimpleUploadedFile(name, content)
    sent = {"sent_as": form["sent_as"], "source": "", "name": "", **more, "file": upload}
    return client.post("/import/", sent)  # type: ignore[return-value]


def lines(count: int, serial: str = "TP-0001", condition: str = "rest") -> bytes:
    rows = [
        [serial, world.later(days=2, minutes=n).isoformat(), condition, 0, *[15.8] * COUNT]
        for n in range(count)
    ]
    return table([HEAD, *rows]).encode()


def key() -> str:
    return files.key_of(ImportFile.objects.latest("pk"))


def name_columns(client: Client, **changes: str) -> HttpResponse:
    address = f"/import/{key()}/columns/"
    return client.post(address, {**filled(text(client, address)), **changes})  # type: ignore[return-value]


@pytest.mark.parametrize("tester", TESTERS, ids=lambda tester: tester.name)
def test_a_strangers_first_file_is_in_with_three_buttons(bench: Client, tester: MadeFile) -> None:
    response = hand_in(bench, tester.content, name="Test rig: new")
    assert response["Location"] == f"/import/{key()}/columns/"
    changes = {}
    if tester.name == "signed":
        places = range(1, COUNT + 1)
        changes = {f"column__{place}": "voltage" for place in places}
        changes |= {"settings__current_sign": "in", "settings__level": "block"}
    response = name_columns(bench, **changes)
    assert response.status_code == 302, words(response.content.decode())
    trial = text(bench, f"/import/{key()}/")
    assert "4 checks would be stored" in trial
    assert "2 at block level at rest, 2 at block level under load" in trial
    assert not VoltageCheck.objects.exists()
    source = ImportSource.objects.get()
    bench.post(f"/import/{key()}/store/", {"version": source.version})
    result = text(bench, f"/import/{key()}/")
    assert "4 stored" in result
    assert 'href="/packs/TP-0002/"' in result
    assert VoltageCheck.objects.count() == 4
    check = VoltageCheck.objects.first()
    assert check is not None
    assert (check.client.name, check.recorded_by.code) == ("pages", "bench")  # type: ignore[union-attr]
    assert inline(trial + result) == []


def test_the_next_file_of_the_same_form_is_known_at_once(bench: Client) -> None:
    hand_in(bench, lines(2))
    name_columns(bench)
    response = hand_in(bench, lines(4))
    assert response["Location"] == f"/import/{key()}/"
    assert ImportSource.objects.count() == 1
    again = bench.get(hand_in(bench, lines(4))["Location"], follow=True)
    assert "handed in before" in again.content.decode()
    assert ImportFile.objects.count() == 2


def test_refused_lines_come_first_with_the_files_own_words(bench: Client) -> None:
    bad = lines(3).replace(b"rest,0,15.8", b"rest,0,odd", 1) + lines(2, "ZZ-9").partition(b"\n")[2]
    hand_in(bench, bad)
    name_columns(bench)
    page = text(bench, f"/import/{key()}/")
    read = words(page)
    assert "2 checks would be stored, 3 refused" in read
    assert "1 pack of this file is not recorded: ZZ-9 (2 lines)" in read
    assert 'href="/check-in/"' in page
    assert "2 TP-0001 V1 odd" in read
    assert "No pack &#x27;ZZ-9&#x27; is recorded" in read
    assert page.index("Refused") < page.index("The good lines")
    bench.post(f"/import/{key()}/store/", {"version": ImportSource.objects.get().version})
    world.pack("ZZ-9")
    bench.post(f"/import/{key()}/again/")
    bench.post(f"/import/{key()}/store/", {"version": ImportSource.objects.get().version})
    assert "2 stored, 2 known before, 1 refused" in words(text(bench, f"/import/{key()}/"))


def test_refused_lines_as_csv_hold_no_formula(bench: Client) -> None:
    bad = lines(2).replace(b"TP-0001", b"=CMD()", 1)
    hand_in(bench, bad)
    name_columns(bench)
    answer = bench.get(f"/import/{key()}/refused.csv")
    assert answer["Content-Type"].startswith("text/csv")
    assert "attachment" in answer["Content-Disposition"]
    told = b"".join(answer.streaming_content).decode("utf-8-sig")  # type: ignore[attr-defined]
    head, row = list(csv.reader(io.StringIO(told)))
    assert head[:5] == ["line", "column", "why", "pack", "time"]
    assert (row[0], row[1], row[3]) == ("2", "pack", "'=CMD()")


def test_what_the_file_does_not_say_is_asked_where_it_is_answered(bench: Client) -> None:
    content = table([["time", "V1", "V2", "V3"], ["2024-03-05 10:00", 1, 2, 3]]).encode()
    hand_in(bench, content)
    response = name_columns(bench)
    page = response.content.decode()
    assert response.status_code == 200
    for name in ("pack", "condition", "current_a"):
        assert f'href="#id_settings__{name}"' in page
    said = {"settings__condition": "rest", "settings__current_a": "0"}
    response = name_columns(bench, settings__pack="TP-0001", **said)
    assert response.status_code == 302
    assert "Every line is about pack TP-0001" in words(text(bench, f"/import/{key()}/"))


def test_a_file_that_names_no_pack_is_asked_for_it_each_time(bench: Client) -> None:
    head = ["time", "current", *HEAD[4:]]
    first, second = (
        table([head, [world.later(days=day).isoformat(), 0, *[15.8] * COUNT]]).encode()
        for day in (2, 3)
    )
    hand_in(bench, first)
    name_columns(bench, settings__pack="TP-0001")
    bench.post(f"/import/{key()}/store/", {"version": ImportSource.objects.get().version})
    response = hand_in(bench, second)
    assert response["Location"].endswith("/columns/")
    assert 'name="settings__pack" maxlength="100"' in text(bench, response["Location"])
    assert filled(text(bench, response["Location"])).get("settings__pack", "") == ""
    name_columns(bench, settings__pack="TP-0002")
    bench.post(f"/import/{key()}/store/", {"version": ImportSource.objects.get().version})
    stored = VoltageCheck.objects.order_by("taken_at").values_list("pack__serial", flat=True)
    assert list(stored) == ["TP-0001", "TP-0002"]


def test_two_columns_for_one_field_are_told_at_the_second(bench: Client) -> None:
    hand_in(bench, lines(1))
    response = name_columns(bench, column__2="pack")
    assert "are both Pack serial; keep one" in unescape(response.content.decode())
    response = name_columns(bench, column__2="position")
    assert "there is one column of voltages" in response.content.decode()


def test_another_delimiter_shows_other_columns(bench: Client) -> None:
    hand_in(bench, lines(1))
    response = name_columns(bench, settings__delimiter="semicolon")
    page = bench.get(f"/import/{key()}/columns/")
    assert response.status_code in (200, 302)
    assert page.status_code == 200
    assert "No row of headers" in response.content.decode() or "column__0" in page.content.decode()


def test_a_long_file_is_stored_in_the_time_of_several_requests(
    bench: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(imports, "BATCH", 2)
    monkeypatch.setattr(importing, "WORK_FOR_S", 0.0)
    hand_in(bench, lines(5))
    name_columns(bench)
    page = text(bench, f"/import/{key()}/")
    assert "Lines 1 to 3 of about 7 were tried" in words(page)
    assert 'href="?after=3"' in page
    assert "2 checks would be stored" in text(bench, f"/import/{key()}/?after=3")
    store = f"/import/{key()}/store/"
    bench.post(store, {"version": ImportSource.objects.get().version})
    page = text(bench, f"/import/{key()}/")
    assert "Stored up to line 3 of about 7" in page
    assert inline(page) == []
    assert "carry on" in text(bench, "/import/")
    assert name_columns(bench, settings__unit="mv").status_code == 200
    for _ in range(2):
        bench.post(store, filled(page))
    assert "5 stored" in words(text(bench, f"/import/{key()}/"))
    assert VoltageCheck.objects.count() == 5


def test_columns_changed_in_another_window_stop_the_storing(bench: Client) -> None:
    hand_in(bench, lines(1))
    name_columns(bench)
    response = bench.post(f"/import/{key()}/store/", {"version": "99"}, follow=True)
    assert "changed meanwhile" in response.content.decode()
    assert not VoltageCheck.objects.exists()


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"", "empty"),
        (b"\x7fELF\x00\x00", "no file of text"),
        (b"=1+1\n=2+2\n", "No row of headers"),
        (b"a,b\n" + b"x" * 300_000, "characters; split the file"),
        (",".join(f"c{n}" for n in range(10_000)).encode(), "over 3000 columns"),
    ],
)
def test_hostile_files_are_refused_beside_the_field(
    bench: Client, content: bytes, told: str
) -> None:
    response = hand_in(bench, content)
    assert response.status_code == 200
    page = response.content.decode()
    assert told in page
    assert 'href="#id_file"' in page
    assert ImportFile.objects.count() == 0
    assert ImportSource.objects.count() == 0


def test_a_file_over_the_limit_is_refused(bench: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(files, "FILE_MAX", 1024 * 1024)
    response = hand_in(bench, b"a,b\n" * 300_000)
    assert "over 1 MB" in response.content.decode()


def test_headers_are_shown_as_text_and_no_more(bench: Client) -> None:
    bad = lines(1).replace(b"condition", b"<script>alert(1)</script>").replace(b"V3", b"V2")
    hand_in(bench, bad, name="../../<b>x</b>.csv")
    page = text(bench, f"/import/{key()}/columns/")
    assert "<script>alert" not in page
    assert "V2 (1)" in page
    assert ImportFile.objects.get().name.count("/") == 0


@pytest.mark.parametrize("role", ["desk"])
def test_only_the_workshop_imports(role: str) -> None:
    client = signed_in(role)
    assert client.get("/import/").status_code == 403
    assert client.post("/import/", {}).status_code == 403


@pytest.mark.parametrize(
    "address", ["/import/if_00000000/", "/import/x/columns/", "/import/x/refused.csv"]
)
def test_files_that_are_not_there(bench: Client, address: str) -> None:
    assert bench.get(address).status_code == 404


def test_odd_numbers_in_the_address_are_the_first_page(bench: Client) -> None:
    hand_in(bench, lines(3))
    name_columns(bench)
    for asked in ("refused=x", "good=-1", "after=9999999999", "good=²"):
        assert "checks would be stored" in text(bench, f"/import/{key()}/?{asked}")


@pytest.mark.parametrize("figure", ["nan", "inf", "-Infinity", "1e999"])
def test_a_setting_that_is_no_finite_number_is_told_beside_it(bench: Client, figure: str) -> None:
    hand_in(bench, lines(1))
    before = ImportSource.objects.get().version
    answer = name_columns(bench, settings__current_a=figure)
    assert answer.status_code == 200
    page = answer.content.decode()
    assert 'id="id_settings__current_a-error"' in page
    assert "Not a number such as 20." in page
    assert ImportSource.objects.get().version == before


def test_an_unknown_pack_is_to_be_checked_in(bench: Client) -> None:
    hand_in(bench, lines(1, "TP-0009") + lines(1).partition(b"\n")[2])
    page = words(unescape(text(bench, f"/import/{key()}/")))
    told = "No pack 'TP-0009' is recorded; check the car in first, or correct the serial."
    assert told in page
    assert "packs/ first" not in page
    answer = bench.get(f"/import/{key()}/refused.csv")
    sent = b"".join(answer.streaming_content).decode()  # type: ignore[attr-defined]
    assert told in sent
