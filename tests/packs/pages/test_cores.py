"""The pages of cores, calls and photographs: what is shown, stored, and refused."""

import re
from io import BytesIO
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.utils import timezone
from PIL import Image

from packs.models import Call, Core, Pack, Photo
from packs.reads import sites
from packs.rules.identity import encode
from packs.writes import cores
from tests import world
from tests.pages import inline, signed_in, text, words

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def pack() -> Pack:
    return world.pack()


def owed(serial: str = "TP-0001", **changes: Any) -> Core:
    entry = {"pack": serial, "deposit": 350, "due_on": world.later(30).date(), **changes}
    return cores.record_core(by=world.actor(), at=world.later(1), entry=entry).row


def sent(client: Client, address: str, **filled: Any) -> Any:
    """The form at that address, filled in and sent."""
    found = re.search(r'name="sent_as" value="([^"]+)"', text(client, address))
    assert found is not None
    return client.post(address, {"sent_as": found[1], **filled})


def test_the_list_says_first_who_is_late() -> None:
    world.pack("TP-0002")
    owed()
    owed("TP-0002", due_on=sites.day(timezone.now()))
    html = text(signed_in("desk"), "/cores/")
    told = words(html)
    assert "2 old packs still owed" in told
    assert "1 overdue" in told
    assert "deposits held: 700.00" in told
    assert told.index("TP-0001") < told.index("TP-0002")
    assert "overdue by" in told
    assert not inline(html)


def test_an_empty_list_says_what_to_do() -> None:
    assert "When a pack goes out in exchange" in text(signed_in("desk"), "/cores/")


def test_a_core_from_owed_to_refunded(pack: Pack) -> None:
    client = signed_in("desk")
    due = {"pack": "tp-0001", "deposit": "350", "due_on": "2026-01-31"}
    answer = sent(client, "/cores/new/?pack=TP-0001", **due)
    assert answer.status_code == 302
    core = Core.objects.get()
    assert (core.pack, str(core.deposit), str(core.due_on)) == (pack, "350.00", "2026-01-31")
    address = answer["Location"]
    assert "Owed to us until 31 Jan 2026" in words(text(client, address))

    accepted = {"state": "accepted", "returned_on": "2024-03-20", "complete": "yes",
                "opened": "no", "flooded": "no"}  # fmt: skip
    answer = sent(client, f"{address}decide/", **accepted)
    assert answer.status_code == 302
    assert "was accepted" in words(text(client, answer["Location"]))
    refunded = {**accepted, "state": "refunded", "refund": "350"}
    answer = sent(client, f"{answer['Location']}decide/", **refunded)
    assert answer.status_code == 302
    standing = Core.objects.get(voided_at=None)
    assert (standing.state, str(standing.refund)) == ("refunded", "350.00")
    assert standing.complete


def test_an_old_address_leads_to_the_core_as_it_stands() -> None:
    core = owed()
    client = signed_in("desk")
    address = client.get("/cores/").content.decode()
    (old,) = set(re.findall(r'href="(/cores/cr_[^/]+/)"', address))
    back = {"state": "refused", "returned_on": "2024-03-20", "reason": "flooded"}
    answer = sent(client, f"{old}decide/", **back)
    assert client.get(old)["Location"] == answer["Location"] != old
    core.refresh_from_db()
    assert core.voided_at is not None


def test_what_is_missing_is_said_at_its_field_and_nothing_is_lost() -> None:
    owed()
    client = signed_in("desk")
    (old,) = set(re.findall(r'href="(/cores/cr_[^/]+/)"', text(client, "/cores/")))
    said = {"state": "refused", "returned_on": "2024-03-20", "complete": "no"}
    sent(client, f"{old}decide/", **said)  # the first time the pages become a client
    before = world.contents()
    answer = sent(client, f"{old}decide/", **said)
    html = answer.content.decode()
    assert (answer.status_code, world.contents()) == (200, before)
    assert 'href="#id_reason"' in html
    assert "Say why the core is refused" in html
    assert 'value="2024-03-20"' in html
    assert re.search(r'value="no"[^>]*checked', html)


def test_a_form_sent_twice_stores_once() -> None:
    client = signed_in("desk")
    page = text(client, "/cores/new/")
    (name,) = re.findall(r'name="sent_as" value="([^"]+)"', page)
    filled = {"sent_as": name, "pack": "TP-0001", "deposit": "350", "due_on": "2026-01-31"}
    first, again = (client.post("/cores/new/", filled) for _ in range(2))
    assert (first.status_code, first["Location"]) == (302, again["Location"])
    assert Core.objects.count() == 1


def test_the_bench_reads_and_does_not_decide() -> None:
    owed()
    bench = signed_in("bench")
    html = text(bench, "/cores/")
    assert "A core is owed" not in html
    assert bench.get("/cores/new/").status_code == 403
    assert bench.get("/calls/new/").status_code == 403
    assert bench.get("/photos/new/").status_code == 200


def test_a_call_is_noted() -> None:
    client = signed_in("desk")
    address = "/calls/new/?pack=TP-0001&reason=core"
    html = text(client, address)
    assert re.search(r'value="core"\s+selected', html)
    answer = sent(
        client, address, pack="TP-0001", reason="core", outcome="reached", note="comes Monday"
    )
    assert answer.status_code == 302
    call = Call.objects.get()
    assert (call.reason, call.outcome, call.note) == ("core", "reached", "comes Monday")


def test_a_call_about_an_unknown_pack_is_refused() -> None:
    client = signed_in("desk")
    answer = sent(client, "/calls/new/", pack="TP-9", reason="core", outcome="reached")
    assert answer.status_code == 200
    assert 'href="#id_pack"' in answer.content.decode()
    assert "check the car in first" in answer.content.decode()
    assert "packs/ first" not in answer.content.decode()
    assert not Call.objects.exists()


def picture() -> SimpleUploadedFile:
    made = BytesIO()
    Image.new("RGB", (40, 30), (90, 90, 90)).save(made, "PNG")
    return SimpleUploadedFile("../module 7.png", made.getvalue(), "image/png")


def test_a_photograph_is_stored_and_shown() -> None:
    client = signed_in("bench")
    address = "/photos/new/?pack=TP-0001"
    answer = sent(client, address, pack="TP-0001", image=picture(), note="a bus bar")
    assert answer.status_code == 302
    assert Photo.objects.get().note == "a bus bar"
    html = text(client, address)
    assert 'alt="a bus bar, ' in html
    (small,) = re.findall(r'src="(/api/v1/photos/[^"]+)"', html)
    assert client.get(small)["Content-Type"] == "image/jpeg"


@pytest.mark.parametrize("content", [b"", b"no picture"])
def test_what_is_no_picture_is_refused(content: bytes) -> None:
    client = signed_in("bench")
    file = SimpleUploadedFile("a.jpg", content, "image/jpeg")
    answer = sent(client, "/photos/new/", pack="TP-0001", image=file)
    assert answer.status_code == 200
    assert 'href="#id_image"' in answer.content.decode()
    assert not Photo.objects.exists()


def named(client: Client, address: str) -> str:
    """The name that the form at that address has for what it sends."""
    (name,) = re.findall(r'name="sent_as" value="([^"]+)"', text(client, address))
    return str(name)


ACCEPTED = {
    "state": "accepted",
    "returned_on": "2024-03-20",
    "complete": "yes",
    "opened": "no",
    "flooded": "no",
}


def test_a_decision_sent_twice_is_stored_once() -> None:
    client, address = signed_in("desk"), f"/cores/{encode(Core.PREFIX, owed().pk)}/decide/"
    filled = {"sent_as": named(client, address), **ACCEPTED}
    first, again = (client.post(address, filled) for _ in range(2))
    assert (first.status_code, first["Location"]) == (302, again["Location"])
    assert Core.objects.filter(state="accepted").count() == 1


def test_of_two_who_decide_at_once_the_second_is_told() -> None:
    desk, manager = signed_in("desk"), signed_in("manager")
    address = f"/cores/{encode(Core.PREFIX, owed().pk)}/decide/"
    names = {client: named(client, address) for client in (desk, manager)}
    assert desk.post(address, {"sent_as": names[desk], **ACCEPTED}).status_code == 302
    other = {**ACCEPTED, "sent_as": names[manager], "state": "refused", "reason": "wet inside"}
    answer = manager.post(address, other)
    assert "voided before" in words(answer.content.decode())
    assert Core.objects.get(voided_at=None).state == "accepted"
    newest = Core.objects.get(voided_at=None)
    assert manager.get(address)["Location"] == f"/cores/{encode(Core.PREFIX, newest.pk)}/decide/"


def test_a_call_sent_twice_is_noted_once() -> None:
    client = signed_in("desk")
    filled = {"pack": "TP-0001", "reason": "core", "outcome": "reached"}
    filled["sent_as"] = named(client, "/calls/new/")
    answers = [client.post("/calls/new/", filled).status_code for _ in range(2)]
    assert (answers, Call.objects.count()) == ([302, 302], 1)


def test_a_photograph_sent_twice_is_stored_once() -> None:
    client = signed_in("bench")
    name = named(client, "/photos/new/")
    answers = []
    for _ in range(2):
        filled = {"sent_as": name, "pack": "TP-0001", "image": picture()}
        answers.append(client.post("/photos/new/", filled).status_code)
    assert (answers, Photo.objects.count()) == ([302, 302], 1)
