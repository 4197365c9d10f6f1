"""The pages of estimates: lines without script, and the owner's word."""

import re
from typing import Any
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from packs.models import Consent, CostEstimate, Visit
from packs.rules.identity import encode
from packs.writes import visits
from tests import paperwork, world
from tests.pages import inline, signed_in, text, words

pytestmark = pytest.mark.django_db
MOMENT = "%Y-%m-%dT%H:%M"


@pytest.fixture
def visit() -> str:
    paperwork.site()
    paperwork.car(world.pack())
    return paperwork.opened()


def line(row: int, what: str, quantity: str = "1", unit_price: str = "10") -> dict[str, Any]:
    said = {"kind": "part", "what": what, "quantity": quantity, "unit_price": unit_price}
    return {f"lines__{row}__{name}": value for name, value in said.items()}


def sent(rows: int = 5, **more: Any) -> dict[str, Any]:
    """An empty form with so many lines, as a browser sends it."""
    empty: dict[str, Any] = {"sent_as": str(uuid4()), "rows": rows, "tax_pct": "", "note": ""}
    for row in range(rows):
        empty |= line(row, "", "", "")
    return {**empty, **more}


def test_five_empty_lines_and_five_more_without_losing_what_was_typed(visit: str) -> None:
    desk, address = signed_in("desk"), f"/visits/{visit}/estimate/"
    page = text(desk, address)
    assert inline(page) == []
    assert page.count("<legend>Line ") == 5
    more = desk.post(address, sent(**line(4, "Fuse", "two"), note="As talked", more="yes"))
    page = more.content.decode()
    assert page.count("<legend>Line ") == 10
    assert 'value="Fuse"' in page
    assert 'value="two"' in page
    assert "As talked" in page
    assert "Not stored yet" not in page
    assert not CostEstimate.objects.exists()


def test_lines_left_empty_do_not_count_and_the_sums_are_shown(visit: str) -> None:
    desk, address = signed_in("desk"), f"/visits/{visit}/estimate/"
    said = sent(**line(0, "Module", "3", "84.50"), **line(3, "Hours", "5.5", "92"), tax_pct="20")
    response = desk.post(address, said)
    assert response.status_code == 302
    page = words(text(desk, response.headers["Location"]))
    for told in ("Module", "Hours", "759.50", "151.90", "911.40", "911.40 EUR in all"):
        assert told in page
    assert desk.post(address, said).headers["Location"] == response.headers["Location"]
    assert CostEstimate.objects.get().lines.count() == 2


def test_a_line_begun_is_finished_or_emptied(visit: str) -> None:
    address = f"/visits/{visit}/estimate/"
    half = sent(lines__1__what="Module", lines__2__quantity="x")
    page = signed_in("desk").post(address, half).content.decode()
    for name in ("lines__1__quantity", "lines__1__unit_price", "lines__2__quantity"):
        assert f'id="id_{name}-error"' in page
        assert f'href="#id_{name}"' in page
    none = signed_in("manager").post(address, sent()).content.decode()
    assert "An estimate has 1 to 100 lines; this one has 0." in none
    assert not CostEstimate.objects.exists()


@pytest.mark.parametrize("rows", ["0", "101", "x", "-3", ""])
def test_a_made_up_number_of_lines_is_five(visit: str, rows: str) -> None:
    said = {**sent(), "rows": rows, "more": "yes"}
    page = signed_in("desk").post(f"/visits/{visit}/estimate/", said).content.decode()
    assert page.count("<legend>Line ") == 10


def test_the_owners_word_is_kept_with_the_sentence_that_was_read(visit: str) -> None:
    estimate = paperwork.estimated(visit)
    desk, address = signed_in("desk"), f"/estimates/{estimate}/word/"
    page = text(desk, address)
    assert inline(page) == []
    put = re.findall(r'<blockquote class="wording">(.+?)</blockquote>', page)[0]
    said = {"sent_as": str(uuid4()), "given": "yes", "how": "telephone", "at": "2024-03-12T10:00"}
    response = desk.post(address, said)
    assert response.headers["Location"] == f"/papers/estimate/{estimate}/"
    assert "Stored: the owner agreed." in text(desk, response.headers["Location"])
    word = Consent.objects.get()
    assert (word.given, word.how, word.about) == (True, "telephone", "extra_work")
    assert word.wording == put.replace("&nbsp;", "\u00a0")
    assert "911.40\u00a0EUR" in word.wording
    assert word.happened_at.isoformat() == "2024-03-12T09:00:00+00:00"
    desk.post(address, said)
    assert Consent.objects.count() == 1


def test_a_refusal_is_a_word_too(visit: str) -> None:
    estimate = paperwork.estimated(visit)
    said = {"sent_as": str(uuid4()), "given": "no", "how": "mail", "at": "2024-03-12T10:00"}
    signed_in("desk").post(f"/estimates/{estimate}/word/", said)
    assert Consent.objects.get().given is False


def test_what_is_wrong_stands_beside_the_field(visit: str) -> None:
    estimate = paperwork.estimated(visit)
    said = {"sent_as": str(uuid4()), "given": "yes", "how": "mail", "at": "2024-03-01T10:00"}
    page = signed_in("desk").post(f"/estimates/{estimate}/word/", said).content.decode()
    assert 'id="id_at-error"' in page
    assert "is before the estimate was made" in page
    assert not Consent.objects.exists()


def test_no_word_is_noted_to_an_estimate_that_was_replaced(visit: str) -> None:
    estimate = paperwork.estimated(visit)
    paperwork.estimated(visit, supersedes=estimate)
    said = {"sent_as": str(uuid4()), "given": "yes", "how": "mail", "at": "2024-03-12T10:00"}
    page = signed_in("desk").post(f"/estimates/{estimate}/word/", said).content.decode()
    assert "no longer counts" in page
    assert not Consent.objects.exists()


def test_pages_that_write_are_for_the_office(visit: str) -> None:
    estimate = paperwork.estimated(visit)
    bench, manager, desk = signed_in("bench"), signed_in("manager"), signed_in("desk")
    for address in (f"/visits/{visit}/estimate/", f"/estimates/{estimate}/word/"):
        assert Client().get(address).status_code == 302
        text(bench, address, 403)
        text(manager, address)
    assert desk.get("/visits/vi_00000000/estimate/").status_code == 404


def test_a_pack_that_came_without_its_car_has_an_estimate_and_its_papers() -> None:
    world.pack("TP-0009")
    entry = {"pack": "TP-0009", "complaint": "sent in"}
    row = visits.open_visit(by=world.actor(), at=world.later(1), entry=entry).row
    desk, key = signed_in("desk"), encode(Visit.PREFIX, row.pk)
    assert "Estimate for TP-0009" in words(text(desk, f"/visits/{key}/estimate/"))
    assert "TP-0009" in words(text(desk, reverse("visit-papers", args=[key])))


def test_a_quantity_has_a_point_or_a_comma(visit: str) -> None:
    desk, address = signed_in("desk"), f"/visits/{visit}/estimate/"
    refused = desk.post(address, sent(**line(0, "Hours", "two")))
    assert "Give a number, such as 2 or 2.5." in words(refused.content.decode())
    stored = desk.post(address, sent(**line(0, "Hours", "2,5", "64")))
    assert "160.00" in words(text(desk, stored.headers["Location"]))


def test_no_tax_is_read_out_where_none_was_given(visit: str) -> None:
    desk, address = signed_in("desk"), f"/visits/{visit}/estimate/"
    stored = desk.post(address, sent(**line(0, "Module")))
    assert "tax included" not in words(text(desk, stored.headers["Location"]))


def waiting(visit: str) -> tuple[str, int]:
    row = Visit.objects.get()
    return row.waits_for, row.version


def test_the_car_then_waits_for_the_owner_and_after_a_yes_for_the_bench(visit: str) -> None:
    desk, address = signed_in("desk"), f"/visits/{visit}/estimate/"
    tick = '<input type="checkbox" name="now_waits" id="id_now_waits" checked>'
    assert tick in text(desk, address)
    kept = desk.post(address, sent(more="yes")).content.decode()
    assert 'name="now_waits"' in kept
    assert tick not in kept
    said = sent(**line(0, "Module"), now_waits="on", visit_version=1)
    there = desk.post(address, said).headers["Location"]
    assert waiting(visit) == ("owner", 2)
    desk.post(address, said)
    assert waiting(visit) == ("owner", 2)
    assert tick in text(desk, there)
    here = timezone.now().astimezone(ZoneInfo("Europe/Vienna"))
    word = {"sent_as": str(uuid4()), "how": "mail", "at": here.strftime(MOMENT)}
    ticked = {"now_waits": "on", "visit_version": 2}
    desk.post(there, {**word, **ticked, "given": "no"})
    assert waiting(visit) == ("owner", 2)
    desk.post(there, {**word, **ticked, "given": "yes", "sent_as": str(uuid4())})
    assert waiting(visit) == ("bench", 3)


def test_what_it_waits_for_is_left_where_unticked_or_changed_meanwhile(visit: str) -> None:
    desk, address = signed_in("desk"), f"/visits/{visit}/estimate/"
    desk.post(address, sent(**line(0, "Module"), visit_version=1))
    assert waiting(visit) == ("", 1)
    row, by = Visit.objects.get(), world.actor()
    visits.change_visit(row, by=by, at=world.later(11), version=1, changes={"waits_for": "parts"})
    overtaken = sent(**line(0, "Module"), now_waits="on", visit_version=1)
    told = desk.post(address, overtaken, follow=True).content.decode()
    assert "was changed meanwhile, so what it waits for was left" in words(told)
    assert waiting(visit) == ("parts", 2)
    assert CostEstimate.objects.count() == 2
    row.refresh_from_db()
    visits.change_visit(row, by=by, at=world.later(12), version=2, changes={"state": "closed"})
    assert "now_waits" not in text(desk, address)
