"""The fleet: what is listed in which order, what filters, and what the file holds."""

import csv
import re
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from io import StringIO

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from packs.models import Pack, VoltageCheck
from packs.writes import warranties
from reports.reads import fleet
from reports.reads.fleet import Asked
from tests import world
from tests.pages import inline, signed_in, text, words
from tests.reports import desk

pytestmark = pytest.mark.django_db
NOW = datetime.now(tz=UTC)
DAY = timedelta(days=1)

Listed = Callable[[str], list[str]]


@pytest.fixture
def browser() -> Client:
    return signed_in("desk")


@pytest.fixture
def listed(browser: Client) -> Listed:
    """The serials of the list at a query, in order."""

    def look(query: str = "") -> list[str]:
        page = text(browser, f"/packs/{query}")
        return re.findall(r'<th scope="row"><a class="whole" href="/packs/([^/]+)/">', page)

    return look


@pytest.fixture
def three() -> None:
    """Three packs in service that differ in everything, and one that is sold."""
    other = world.pack_type("LI-10", module_count=10)
    for serial, level, kind, figures, seen in (
        ("TP-A", "over_limit", None, {"p180": 0.3, "spread_now_v": 1.3, "growth_per_year": 0.1}, 40),
        ("TP-B", "settled", other, {"p180": 0.2, "spread_now_v": 0.1, "growth_per_year": None}, 10),
        ("TP-C", "drifting", None, {"p180": 0.4, "spread_now_v": 0.5, "growth_per_year": 0.6}, 200),
        ("TP-D", "near_limit", None, {"p180": 0.45}, 20),
    ):  # fmt: skip
        pack = world.pack(serial, kind)
        Pack.objects.filter(pk=pack.pk).update(last_contact=NOW - seen * DAY)
        desk.told(pack, level, **figures)
    Pack.objects.filter(serial="TP-D").update(status="sold")


@pytest.mark.usefixtures("three")
def test_packs_in_service_are_listed_the_likeliest_to_fail_first(listed: Listed) -> None:
    assert listed("") == ["TP-C", "TP-A", "TP-B"]


@pytest.mark.usefixtures("three")
@pytest.mark.parametrize(
    ("query", "serials"),
    [
        ("?level=drifting", ["TP-C"]),
        ("?type=LI-10", ["TP-B"]),
        ("?status=any", ["TP-D", "TP-C", "TP-A", "TP-B"]),
        ("?status=sold", ["TP-D"]),
        ("?at_least=30", ["TP-C", "TP-A"]),
        ("?at_least=31&within=180", ["TP-C"]),
        ("?at_least=31&within=365", ["TP-C", "TP-B", "TP-A"]),
        (f"?seen_since={(NOW - 100 * DAY).date()}", ["TP-A", "TP-B"]),
        ("?text=p-a", ["TP-A"]),
        ("?text=nothing", []),
        ("?order=spread", ["TP-A", "TP-C", "TP-B"]),
        ("?order=-spread", ["TP-B", "TP-C", "TP-A"]),
        ("?order=growth", ["TP-C", "TP-A", "TP-B"]),
        ("?order=-growth", ["TP-A", "TP-C", "TP-B"]),
        ("?order=seen", ["TP-B", "TP-A", "TP-C"]),
        ("?order=-seen", ["TP-C", "TP-A", "TP-B"]),
        ("?order=-chance", ["TP-B", "TP-A", "TP-C"]),
    ],
)
def test_the_address_filters_and_orders(listed: Listed, query: str, serials: list[str]) -> None:
    found = listed(query)
    assert sorted(found) == sorted(serials)
    if "within=365" not in query:
        assert found == serials


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("?level=fine", "not one of the available choices"),
        ("?at_least=most", "Enter a number"),
        ("?at_least=101", "less than or equal to 100"),
        ("?at_least=nan", "Enter a number"),
        ("?seen_since=yesterday", "Enter a valid date"),
        ("?seen_since=0001-01-01", "The year must lie between"),
        ("?order=beauty", "not one of the available choices"),
        ("?within=17", "not one of the available choices"),
    ],
)
@pytest.mark.usefixtures("three")
def test_what_is_not_understood_is_left_out_and_told(
    browser: Client, query: str, said: str
) -> None:
    page = text(browser, f"/packs/{query}")
    assert said in words(page)
    assert 'aria-invalid="true"' in page
    assert page.count('<th scope="row">') == 3


@pytest.mark.usefixtures("three")
def test_each_count_opens_to_the_packs_that_it_sums(browser: Client, listed: Listed) -> None:
    page = text(browser, "/packs/?status=any&order=-seen")
    assert "4 packs asked for:" in words(page)
    links = re.findall(r'<a href="(\?[^"]+)"><span class="count">(\d+)</span>', page)
    assert len(links) == 4
    for link, count in links:
        assert len(listed(link.replace("&amp;", "&"))) == int(count)


@pytest.mark.usefixtures("three")
def test_heads_say_how_they_order_and_turn_when_followed_again(browser: Client) -> None:
    page = text(browser, "/packs/?type=NM-28&page=1")
    assert page.count('aria-sort="none"') == 4
    assert 'aria-sort="descending"><a href="?type=NM-28&amp;order=-chance"' in page
    turned = text(browser, "/packs/?order=-chance")
    assert 'aria-sort="ascending"><a href="?order=chance"' in turned
    soonest = text(browser, "/packs/?order=next")
    assert 'aria-sort="ascending"><a href="?order=-next"' in soonest


def test_a_row_tells_the_level_the_chance_the_spread_and_the_cover(browser: Client) -> None:
    pack = desk.pack_in(desk.car(7, desk.owner()), "TP-0001")
    starts = (NOW - DAY).date()
    entry = {"pack": "TP-0001", "repair_kind": "rebuild", "starts_on": starts, "months": 12}
    warranties.record_warranty(by=world.actor(), at=NOW, entry=entry)
    world.check(pack, taken_at=NOW - 30 * DAY)
    desk.told(pack, "drifting")
    page = text(browser, "/packs/")
    read = words(page)
    for part in (
        "TP-0001", "W-7 X", "NM-28", "Drifting", "About 3 in 10 31 %", "0.42 of 1.20 V", "+35 %",
    ):  # fmt: skip
        assert part in read
    assert 'class="shape drifting"' in page
    assert f"{starts.year + 1}" in read
    assert "overdue" not in read
    assert "being worked out" not in read
    assert inline(page) == []


def test_an_overdue_check_is_told_by_word_and_shape(browser: Client) -> None:
    pack = world.pack()
    world.check(pack, taken_at=NOW - 120 * DAY)
    desk.told(pack, "drifting")
    page = text(browser, "/packs/")
    assert re.search(r'class="flag".*?</svg>overdue', page, re.DOTALL)


def test_an_outlook_that_is_owed_says_so(browser: Client) -> None:
    pack = world.pack()
    desk.told(pack, "drifting")
    assert "being worked out" not in words(text(browser, "/packs/"))
    world.check(pack)
    assert "being worked out" in words(text(browser, "/packs/"))


def test_packs_without_an_outlook_yet_are_counted(browser: Client) -> None:
    world.pack()
    read = words(text(browser, "/packs/"))
    assert "1 more is being worked out for the first time." in read
    assert "No pack in service is recorded with an outlook yet." in read


def test_the_next_check_orders_as_it_is_shown(listed: Listed) -> None:
    for serial, level, checked, figures in (
        ("LATER", "settled", 10, {}),
        ("SOON", "drifting", 10, {}),
        ("NOW", "near_limit", 10, {}),
        ("WIDE", "too_little_data", 10, {"spread_now_v": 1.1}),
        ("NEVER", "too_little_data", None, {}),
    ):
        pack = world.pack(serial)
        if checked is not None:
            world.check(pack, taken_at=NOW - checked * DAY)
        desk.told(pack, level, **figures)
    found = listed("?order=next")
    assert set(found[:3]) == {"NOW", "WIDE", "NEVER"}
    assert found[3:] == ["SOON", "LATER"]
    lines = fleet.page(Asked(order="next"), number=1, at=NOW)
    assert [line.due_at for line in lines] == sorted(line.due_at for line in lines)
    assert [line.pack.serial for line in lines] == found


def test_fifty_a_page_by_as_many_queries_as_for_one(browser: Client, listed: Listed) -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as asked:
            text(browser, "/packs/")
        return len(asked)

    def fill(first: int, last: int) -> None:
        for number in range(first, last):
            pack = desk.pack_in(desk.car(number), f"P-{number:03d}")
            desk.told(pack, "settled", p180=0.2 + number / 1000)

    fill(1, 2)
    few = queries()
    fill(2, 54)
    assert queries() == few
    assert len(listed("")) == 50
    assert listed("?page=2") == ["P-003", "P-002", "P-001"]
    assert listed("?page=99") == ["P-003", "P-002", "P-001"]
    page = text(browser, "/packs/?text=P-&page=2")
    assert 'href="?text=P-&amp;page=1" rel="prev"' in page
    assert 'rel="next"' not in page
    assert "53 packs, 51 to 53" in words(page)


def exported(browser: Client, query: str = "") -> list[dict[str, str]]:
    response = browser.get(f"/packs/export.csv{query}")
    assert response.status_code == 200
    body = b"".join(response.streaming_content).decode("utf-8-sig")  # type: ignore[attr-defined]
    return list(csv.DictReader(StringIO(body)))


@pytest.mark.usefixtures("three")
def test_the_file_holds_the_same_packs_in_the_same_order(browser: Client, listed: Listed) -> None:
    for query in ("", "?status=any&order=spread", "?level=drifting"):
        assert [row["Pack"] for row in exported(browser, query)] == listed(query)
    row = exported(browser)[0]
    assert row["Chance of failing within 180 days, %"] == "40.0"
    assert row["Spread now, V"] == "0.5"
    assert row["Growth, % a year"] == "60.0"
    assert row["Level"] == "drifting"
    assert row["Last seen"] == (NOW - 200 * DAY).date().isoformat()


def test_the_file_is_named_by_the_day_and_holds_nobody(browser: Client) -> None:
    desk.told(
        desk.pack_in(desk.car(1, desk.owner("Rosalind Marsh", "0660 123")), "TP-1"), "settled"
    )
    response = browser.get("/packs/export.csv")
    assert response["Content-Disposition"] == f'attachment; filename="packs-{NOW.date()}.csv"'
    assert response["Content-Type"] == "text/csv; charset=utf-8"
    body = b"".join(response.streaming_content).decode()  # type: ignore[attr-defined]
    assert "W-1 X" in body
    assert "Marsh" not in body
    assert "0660" not in body


def test_a_plate_that_is_a_formula_is_defused_and_numbers_stay_numbers(browser: Client) -> None:
    car = desk.car(1)
    type(car).objects.filter(pk=car.pk).update(plate="=HYPERLINK(0)")
    desk.told(desk.pack_in(car, "TP-1"), "settled", growth_per_year=-0.05)
    row = exported(browser)[0]
    assert row["Plate"] == "'=HYPERLINK(0)"
    assert row["Growth, % a year"] == "-5.0"


def test_the_file_is_read_in_batches(
    browser: Client, monkeypatch: pytest.MonkeyPatch, listed: Listed
) -> None:
    for number in range(5):
        desk.told(world.pack(f"P-{number}"), "settled", p180=0.2 + number / 100)
    monkeypatch.setattr(fleet, "BATCH", 2)
    assert [row["Pack"] for row in exported(browser)] == listed("")


@pytest.mark.parametrize("role", ["desk", "bench", "manager"])
def test_every_person_may_look_and_no_machine(role: str) -> None:
    assert "Packs" in text(signed_in(role), "/packs/")
    machine = signed_in("machine")
    for address in ("/packs/", "/packs/export.csv"):
        assert machine.get(address).status_code == 403
        assert Client().get(address).status_code == 302
        assert machine.post(address).status_code == 405


def test_over_the_limit_at_the_last_check_alone_shows_what_that_read(browser: Client) -> None:
    pack = world.pack("FELL")
    world.check(pack, [*world.healthy_v(27), 7.1])
    pack.refresh_from_db()
    desk.told(pack, "over_limit", spread_now_v=0.28, limit_v=0.3)
    read = words(text(browser, "/packs/"))
    last = VoltageCheck.objects.get().spread_v
    assert last > 0.3
    assert f"{last:.2f} of 0.30 V at the last check" in read
    assert "module 7" in read
