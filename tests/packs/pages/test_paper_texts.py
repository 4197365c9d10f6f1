"""The pages on which a manager words the papers."""

from typing import Any
from uuid import uuid4

import pytest

from packs.models import PaperText, PaperTextVersion
from packs.rules.paper_words import DEFAULTS
from packs.writes import paper_texts
from tests import world
from tests.pages import inline, signed_in, text, words

pytestmark = pytest.mark.django_db
ADDRESS = "/papers/texts/intake/"


def sent(**changes: Any) -> dict[str, Any]:
    said = {"heading": "We took it in", "opening": "Good day.\n\nSit down.", "closing": ""}
    return {**said, "version": 0, "sent_as": str(uuid4()), **changes}


def test_every_paper_has_words_before_the_shop_writes_its_own() -> None:
    assert set(DEFAULTS) == set(PaperText.Papers.values)
    page = text(signed_in("manager"), "/papers/texts/")
    assert inline(page) == []
    for name, said in DEFAULTS.items():
        assert said.heading in page
        assert f'href="/papers/texts/{name}/preview/"' in page
    assert "no promise" in page


def test_words_are_stored_as_a_new_version_and_previewed() -> None:
    manager = signed_in("manager")
    assert manager.post(ADDRESS, sent()).headers["Location"] == "/papers/texts/"
    manager.post(ADDRESS, sent(version=1, heading="<b>Again</b>"))
    stored = PaperTextVersion.objects.order_by("number").values_list("number", "heading")
    assert list(stored) == [(1, "We took it in"), (2, "<b>Again</b>")]
    page = text(manager, "/papers/texts/intake/preview/")
    assert "&lt;b&gt;Again&lt;/b&gt;" in page
    assert '<p class="said">Good day.</p><p class="said">Sit down.</p>' in page
    assert "local codes and licensed practice decide" in page


def test_a_stale_version_is_told_with_what_stands_and_loses_nothing() -> None:
    manager = signed_in("manager")
    manager.post(ADDRESS, sent())
    page = manager.post(ADDRESS, sent(heading="Mine")).content.decode()
    assert "It was changed meanwhile" in page
    assert 'value="Mine"' in page
    assert "As the words stand now" in page
    assert "We took it in" in page
    assert PaperTextVersion.objects.count() == 1


def test_the_same_words_again_are_no_new_version() -> None:
    manager = signed_in("manager")
    assert manager.post(ADDRESS, sent()).status_code == 302
    assert manager.post(ADDRESS, sent()).status_code == 302
    assert PaperTextVersion.objects.count() == 1


@pytest.mark.parametrize(
    "changes", [{"heading": ""}, {"heading": "x" * 121}, {"opening": "x" * 5001}]
)
def test_what_is_wrong_stands_beside_the_field(changes: dict[str, str]) -> None:
    page = signed_in("manager").post(ADDRESS, sent(**changes)).content.decode()
    assert f'id="id_{next(iter(changes))}-error"' in page
    assert not PaperText.objects.exists()


def test_words_are_for_the_manager_and_previews_for_all() -> None:
    desk = signed_in("desk")
    for address in ("/papers/texts/", ADDRESS):
        text(desk, address, 403)
    assert desk.post(ADDRESS, sent()).status_code == 403
    assert "Core receipt" in words(text(desk, "/papers/texts/core_receipt/preview/"))
    manager = signed_in("manager")
    for address in ("/papers/texts/letter/", "/papers/texts/letter/preview/"):
        text(manager, address, 404)


def test_what_a_program_stored_is_the_page_to_change() -> None:
    entry = {"paper": "intake", "heading": "From a program"}
    paper_texts.create_paper_text(by=world.actor(), at=world.BEGUN, entry=entry)
    page = text(signed_in("manager"), ADDRESS)
    assert 'value="From a program"' in page
    assert '<input type="hidden" name="version" value="1"' in page
