"""Isolation on a job: what is entered, the verdict in words, and the place of a leak."""

from typing import Any

import pytest
from django.test import Client

from packs.models import IsolationCheck, Visit
from packs.rules.identity import encode
from packs.writes import visits
from tests import world
from tests.packs.pages.test_cores import sent
from tests.pages import inline, signed_in, text, words

pytestmark = pytest.mark.django_db
READ = {
    "scope": "pack_alone", "pack_v": "225", "plus_case_v": "45", "minus_case_v": "180",
    "shunt_ohm": "125", "shunted_v": "100", "done_by": "bench",
}  # fmt: skip


@pytest.fixture
def address() -> str:
    world.pack()
    entry = {"pack": "TP-0001", "opened_at": world.later(1)}
    row = visits.open_visit(by=world.actor(), at=world.later(1), entry=entry).row
    return f"/visits/{encode(Visit.PREFIX, row.pk)}/job/isolation/"


@pytest.fixture
def client() -> Client:
    return signed_in("bench")


def test_the_page_says_what_is_asked_before_anything_was_read(client: Client, address: str) -> None:
    html = text(client, address)
    told = words(html)
    assert "At least 100 Ω for each volt" in told
    assert "a record is no permission" in told
    assert "About 100.8 kΩ suits this pack" in told
    assert not inline(html)


def test_a_leak_is_told_with_its_place_and_true_value(client: Client, address: str) -> None:
    answer = sent(client, address, **{**READ, "minus_case_v": "-180"})
    assert answer.status_code == 302, words(answer.content.decode())
    assert IsolationCheck.objects.get().minus_case_v == 180
    told = words(text(client, address))
    assert "modules from the negative end" not in told
    assert "125 kΩ, 556 Ω/V" in told
    assert "100 kΩ, 444 Ω/V" in told
    assert "Passes. Enough for direct current" in told
    row = IsolationCheck.objects.get()
    assert (row.shunt_ohm, row.done_by and row.done_by.code) == (125_000, "bench")


def test_where_it_fails_the_place_of_the_leak_is_told(client: Client, address: str) -> None:
    assert sent(client, address, **{**READ, "scope": "in_car"}).status_code == 302
    told = words(text(client, address))
    assert "22.4 modules from the negative end: in the module at position 6" in told


def test_the_same_form_sent_again_is_stored_once(client: Client, address: str) -> None:
    said = {**READ, "sent_as": "4ae1b6a2-6f0e-4a6e-9f27-000000000001"}
    assert [client.post(address, said).status_code for _ in range(2)] == [302, 302]
    assert IsolationCheck.objects.count() == 1


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({"shunted_v": "190"}, "put the resistor on the side that reads higher"),
        ({"pack_v": "150"}, "read all three again"),
        ({"done_by": ""}, "Choose one"),
        ({"pack_v": "x"}, "Write a number"),
    ],
)
def test_what_cannot_be_is_told_at_its_box(
    client: Client, address: str, changes: dict[str, Any], word: str
) -> None:
    answer = sent(client, address, **{**READ, **changes})
    assert word in words(answer.content.decode())
    assert not IsolationCheck.objects.exists()


def test_with_a_tester_in_the_car(client: Client, address: str) -> None:
    tester = f"{address}?method=tester"
    said = {
        "scope": "in_car",
        "pack_v": "210",
        "test_v": "100",
        "isolation_ohm": "21,5",
        "done_by": "bench",
    }
    assert sent(client, tester, **said).status_code == 302
    told = words(text(client, address))
    assert "Not enough in the car: 102 Ω/V" in told
    assert "Tested at 100 V" in told
    assert "unplug its wiring" in told
    assert "By the tester 21.5 kΩ" in told


def test_the_desk_does_not_enter(address: str) -> None:
    assert signed_in("desk").get(address).status_code == 403
