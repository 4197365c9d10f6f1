"""The owner's word to the work of a visit, had after check-in."""

from typing import Any
from uuid import uuid4

import pytest

from packs.models import Consent
from packs.rules.paper_words import DEFAULTS
from tests import paperwork, world
from tests.pages import inline, signed_in, text, words

pytestmark = pytest.mark.django_db


@pytest.fixture
def visit() -> str:
    paperwork.site()
    paperwork.car(world.pack())
    return paperwork.opened()


def said(**more: Any) -> dict[str, Any]:
    told = {"given": "yes", "how": "telephone", "at": "2024-03-12T10:00", "note": "at noon"}
    return {"sent_as": str(uuid4()), **told, **more}


def test_it_is_noted_with_the_words_that_were_read(visit: str) -> None:
    desk, address = signed_in("desk"), f"/visits/{visit}/word/"
    assert f'href="{address}"' in text(desk, f"/visits/{visit}/")
    page = text(desk, address)
    assert inline(page) == []
    assert words(DEFAULTS["intake"].closing)[:60] in words(page)
    sent = said()
    response = desk.post(address, sent)
    assert response.headers["Location"] == f"/visits/{visit}/"
    read = words(text(desk, f"/visits/{visit}/"))
    assert "Stored: the owner agreed." in read
    assert "to the work, given by telephone. at noon" in read
    assert "Note the owner’s word" not in read
    word = Consent.objects.get()
    assert (word.about, word.given, word.how) == ("intake", True, "telephone")
    assert word.wording == DEFAULTS["intake"].closing
    desk.post(address, sent)
    assert Consent.objects.count() == 1


def test_after_a_refusal_another_word_can_be_noted(visit: str) -> None:
    desk, address = signed_in("desk"), f"/visits/{visit}/word/"
    desk.post(address, said(given="no"))
    assert Consent.objects.get().given is False
    assert "Note the owner’s word" in words(text(desk, f"/visits/{visit}/"))
    assert "The owner refused on" in words(text(desk, address))
    desk.post(address, said(at="2024-03-12T11:00"))
    assert Consent.objects.count() == 2


def test_what_is_wrong_stands_beside_its_field_and_the_bench_has_no_such_page(visit: str) -> None:
    address = f"/visits/{visit}/word/"
    page = signed_in("desk").post(address, said(given="", at="2999-01-01T10:00")).content.decode()
    assert 'id="id_given-error"' in page
    bench = signed_in("bench")
    assert bench.post(address, said()).status_code == 403
    assert address not in text(bench, f"/visits/{visit}/")
    assert not Consent.objects.exists()
