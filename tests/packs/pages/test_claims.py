"""The page of a claim: the terms beside it, opened, decided once, decided anew."""

import re
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client

from packs.models import Claim, Pack
from packs.rules.identity import encode
from packs.writes import claims
from tests import paperwork, world
from tests.pages import inline, signed_in, text, words

pytestmark = pytest.mark.django_db


@pytest.fixture
def visit() -> str:
    paperwork.site()
    paperwork.car(world.pack())
    return paperwork.opened()


def promise(visit: str, **changes: Any) -> str:
    """A warranty that ran when the car came."""
    said = {"starts_on": world.later(2).date(), "starts_km": 150_000, **changes}
    return paperwork.warranted(Pack.objects.get(), visit, **said)


def standing() -> Claim:
    return Claim.objects.get(voided_at=None)


def held(page: str) -> str:
    """The claim that the form says it takes the place of."""
    found = re.search(r'name="supersedes"(?: value="([^"]*)")?', page)
    assert found is not None
    return found[1] or ""


def send(browser: Client, visit: str, warranty: str, **said: Any) -> Any:
    sent = {"sent_as": str(uuid4()), "reason": "", "supersedes": "", **said}
    return browser.post(f"/visits/{visit}/claim/?warranty={warranty}", sent)


def test_it_is_opened_and_decided_with_the_terms_beside(visit: str) -> None:
    warranty, desk = promise(visit), signed_in("desk")
    there = f"/visits/{visit}/claim/?warranty={warranty}"
    page = text(desk, f"/visits/{visit}/")
    assert f'href="{there}"' in page
    assert "Open a claim" in words(page)
    page = text(desk, there)
    assert inline(page) == []
    for told in ("The modules fitted on this visit", "Damage by water", "Labour is covered"):
        assert told in words(page)
    assert "goodwill" not in page
    assert send(desk, visit, warranty, decision="open", reason="same again").status_code == 302
    opened = standing()
    assert (opened.decision, opened.reason) == ("open", "same again")
    page = text(desk, there)
    assert held(page) == encode(Claim.PREFIX, opened.pk)
    assert "same again</textarea>" in page
    more = {"supersedes": held(page), "parts_cost": "84,50", "labour_cost": "92"}
    send(desk, visit, warranty, decision="accepted", **more)
    decided = standing()
    assert (decided.supersedes, decided.decision) == (opened, "accepted")
    assert (decided.parts_cost, decided.labour_cost) == (Decimal("84.50"), Decimal(92))
    read = words(text(desk, f"/visits/{visit}/"))
    assert "The claim of this visit was accepted (parts 84.50 EUR, labour 92.00 EUR)" in read


def test_goodwill_is_the_managers_and_stays_when_the_desk_stores_anew(visit: str) -> None:
    warranty = promise(visit, months=None, km=1000)
    manager, desk = signed_in("manager"), signed_in("desk")
    assert "Goodwill is the manager’s to give" in words(text(desk, f"/visits/{visit}/"))
    send(manager, visit, warranty, decision="accepted", reason="an old customer", goodwill="50")
    given = standing()
    assert given.goodwill == 50
    said = {"supersedes": encode(Claim.PREFIX, given.pk), "parts_cost": "10", "goodwill": "999"}
    send(desk, visit, warranty, decision="accepted", **said)
    assert (standing().goodwill, standing().parts_cost) == (Decimal(50), Decimal(10))


def test_a_refusal_says_why(visit: str) -> None:
    warranty = promise(visit)
    answer = send(signed_in("desk"), visit, warranty, decision="refused")
    assert answer.status_code == 200
    assert "Say why it is refused" in words(answer.content.decode())
    assert not Claim.objects.exists()


def test_sent_twice_it_is_stored_once_and_a_claim_made_meanwhile_is_told(visit: str) -> None:
    warranty, desk = promise(visit), signed_in("desk")
    name = str(uuid4())
    for _ in range(2):
        assert send(desk, visit, warranty, decision="open", sent_as=name).status_code == 302
    assert Claim.objects.count() == 1
    for stale in ("", encode(Claim.PREFIX, standing().pk)):
        entry = {"warranty": warranty, "visit": visit, "decision": "open", "supersedes": None}
        entry["supersedes"] = encode(Claim.PREFIX, standing().pk)
        claims.record_claim(by=world.actor(), at=world.later(20), entry=entry)
        before = world.contents()
        answer = send(desk, visit, warranty, decision="accepted", supersedes=stale)
        page = answer.content.decode()
        assert "Not stored yet" in words(page)
        assert world.contents() == before
        assert held(page) == encode(Claim.PREFIX, standing().pk)
    send(desk, visit, warranty, decision="accepted", supersedes=held(page))
    assert standing().decision == "accepted"


def test_of_several_one_is_chosen_and_of_none_nothing_is_claimed(visit: str) -> None:
    desk, address = signed_in("desk"), f"/visits/{visit}/claim/"
    assert "nothing can be claimed" in words(text(desk, address))
    first = promise(visit)
    assert "The terms, to read out" in words(text(desk, address))
    second = promise(visit, repair_kind="rebuild")
    page = text(desk, address)
    assert inline(page) == []
    for warranty in (first, second):
        assert f'href="?warranty={warranty}"' in page


def test_the_bench_reads_it_and_decides_nothing(visit: str) -> None:
    warranty, bench = promise(visit), signed_in("bench")
    page = text(bench, f"/visits/{visit}/")
    assert "Module swap" in words(page)
    assert "/claim/" not in page
    assert send(bench, visit, warranty, decision="open").status_code == 403
