"""The page that matches modules of the stock for a job."""

import re
from typing import Any

import pytest
from django.test import Client

from packs.models import Matching, Module, Pack, Visit
from packs.rules.identity import encode
from packs.writes import visits
from tests import world
from tests.packs import shelf
from tests.pages import inline, signed_in, text, words

pytestmark = pytest.mark.django_db

MARKS = {"capacity_ah": 5.0, "resistance_mohm": 32.0, "stand_mv_per_day": 14.0}


@pytest.fixture
def pack() -> Pack:
    kind = world.pack_type(module_count=8, bench={"pass_marks": MARKS, "switch_after": 4})
    return world.pack("TP-0001", kind)


@pytest.fixture
def address(pack: Pack) -> str:
    entry = {"pack": pack.serial, "opened_at": world.later(21)}
    visit = visits.open_visit(by=world.actor(), at=world.later(21), entry=entry).row
    return f"/visits/{encode(Visit.PREFIX, visit.pk)}/job/matching/"


@pytest.fixture
def bench() -> Client:
    world.person("kim")
    return signed_in("bench")


def sent(client: Client, address: str, step: str, **filled: Any) -> Any:
    """One of the forms of the page, filled in and sent."""
    names = re.findall(r'name="sent_as" value="([^"]+)"', text(client, address))
    said = {"sent_as": names[-1 if step == "match" else 0], "done_by": "kim", "step": step}
    return client.post(address, {**said, **filled})


def test_modules_are_matched_reserved_and_shown_with_why(bench: Client, address: str) -> None:
    shelf.stock(12)
    assert "No modules were chosen on this visit yet." in words(text(bench, address))
    assert sent(bench, address, "match", positions="1, 2", reserve="on").status_code == 302
    row = Matching.objects.get()
    assert (row.asked["positions"], row.done_by and row.done_by.code) == ([1, 2], "kim")
    assert Module.objects.filter(status="reserved").count() == 2
    html = text(bench, address)
    told = words(html)
    assert "2 modules chosen out of 12 and reserved for this visit." in told
    assert "bring all modules of the pack to equal charge" in told
    for place in row.proposed["taken"]:
        assert place["module"] in told
        assert words(place["why"]) in told
    assert "What speaks against it" in told
    assert not inline(html)


def test_one_position_is_placed_otherwise_with_a_reason(bench: Client, address: str) -> None:
    shelf.stock(12)
    sent(bench, address, "match")
    before = Matching.objects.get()
    other = before.proposed["left_out"][0]["module"]
    filled = {"position": "3", "module": other, "reason": "same lot as its neighbour"}
    assert sent(bench, address, "overrule", **filled).status_code == 302
    row = Matching.objects.get(voided_at__isnull=True)
    assert row.supersedes_id == before.pk
    assert row.proposed["taken"][2]["module"] == other
    told = words(text(bench, address))
    assert f"Instead of {before.proposed['taken'][2]['module']}: same lot as its neighbour" in told
    assert "Placed otherwise in 1 position" in told
    again = {"position": "4", "module": before.proposed["left_out"][1]["module"], "reason": "so"}
    sent(bench, address, "overrule", **again)
    row = Matching.objects.get(voided_at__isnull=True)
    assert [one["position"] for one in row.overruled] == [3, 4]


def test_what_is_wrong_is_said_at_its_field_and_nothing_is_lost(
    bench: Client, address: str
) -> None:
    shelf.stock(3)
    response = sent(bench, address, "match", positions="1, x")
    assert "Write positions such as 7, 8." in response.content.decode()
    response = sent(bench, address, "match")
    told = words(response.content.decode())
    assert "8 positions are wanted, and 3 prismatic modules of 6 cells may be matched" in told
    sent(bench, address, "match", positions="1 2")
    response = sent(bench, address, "overrule", position="7", module="S-001", reason="so")
    assert "Position 7 is not among those that are matched." in words(response.content.decode())
    assert 'value="S-001"' in response.content.decode()
    assert Matching.objects.count() == 1


def test_sent_twice_it_is_stored_once(bench: Client, address: str) -> None:
    shelf.stock(9)
    found = re.findall(r'name="sent_as" value="([^"]+)"', text(bench, address))
    body = {"sent_as": found[-1], "done_by": "kim", "step": "match", "positions": "5"}
    assert [bench.post(address, body).status_code for _ in range(2)] == [302, 302]
    assert Matching.objects.count() == 1


def test_the_desk_does_not_match(address: str) -> None:
    assert signed_in("desk").get(address).status_code == 403
