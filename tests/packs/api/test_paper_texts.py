"""paper-texts/: the shop's own words on its papers, version by version."""

from typing import Any

import pytest

from packs.models import Edit, PaperTextVersion
from tests import world
from tests.packs.api.conftest import Api
from tests.packs.api.test_pack_types import fault

URL = "/api/v1/paper-texts/"
BODY = {"paper": "intake", "heading": "Intake", "opening": "Welcome.\n\nSit down.", "closing": ""}

pytestmark = pytest.mark.django_db


def test_words_are_kept_version_by_version(api: Api) -> None:
    manager = api("manager")
    response = manager.post(URL, BODY)
    assert (response.status_code, response["Location"]) == (201, URL + "intake/")
    one = api("desk").get(URL + "intake/")
    assert (one.json(), one["ETag"]) == (response.json(), '"1"')
    changed = manager.patch(URL + "intake/", {"closing": "Thank you."}, headers={"If-Match": '"1"'})
    assert (changed.status_code, changed["ETag"]) == (200, '"2"')
    versions = api("bench").get(URL + "intake/versions/").json()["results"]
    assert [(v["number"], v["opening"], v["closing"]) for v in versions] == [
        (2, BODY["opening"], "Thank you."),
        (1, BODY["opening"], ""),
    ]
    assert Edit.objects.get().kind == "paper_text"


def test_the_same_again_is_known_and_others_are_a_conflict(api: Api) -> None:
    manager = api("manager")
    first = manager.post(URL, BODY).json()
    again = manager.post(URL, {"paper": "intake", "heading": "Intake", "opening": BODY["opening"]})
    assert (again.status_code, again.json()) == (200, first)
    before = world.contents()
    assert fault(manager.post(URL, {**BODY, "heading": "Other"})) == (409, "/paper", "paper_taken")
    assert world.contents() == before
    assert PaperTextVersion.objects.count() == 1


@pytest.mark.parametrize(
    ("changes", "refusal"),
    [
        ({"paper": "letter"}, (400, "/paper", "not_a_choice")),
        ({"heading": ""}, (400, "/heading", "blank")),
        ({"heading": "x" * 121}, (400, "/heading", "max_length")),
        ({"opening": "x" * 5001}, (400, "/opening", "max_length")),
        ({"footer": "x"}, (400, "/footer", "unknown_field")),
    ],
)
def test_what_are_no_words_are_refused(
    api: Api, changes: dict[str, Any], refusal: tuple[int, str, str]
) -> None:
    assert fault(api("manager").post(URL, {**BODY, **changes})) == refusal
    assert not PaperTextVersion.objects.exists()


def test_a_change_names_the_version_that_it_changes(api: Api) -> None:
    manager = api("manager")
    manager.post(URL, BODY)
    assert manager.patch(URL + "intake/", {"closing": "x"}).status_code == 428
    stale = {"If-Match": '"7"'}
    assert manager.patch(URL + "intake/", {"closing": "x"}, headers=stale).status_code == 412
    assert PaperTextVersion.objects.count() == 1


def test_only_a_manager_writes(api: Api) -> None:
    for role in ("desk", "bench", "machine"):
        assert api(role).post(URL, BODY).status_code == 403
    assert api("machine").get(URL).status_code == 403
    assert api("bench").get(URL).json()["results"] == []
    assert api("desk").get(URL + "intake/").status_code == 404
