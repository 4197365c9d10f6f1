"""consents/: the owner's word."""

from typing import Any

import pytest

from packs.models import Consent, HistoryEntry
from tests import world
from tests.packs.api.conftest import Api
from tests.packs.api.test_cost_estimates import URL as ESTIMATES
from tests.packs.api.test_cost_estimates import body as estimate_body
from tests.packs.api.test_cost_estimates import opened
from tests.packs.api.test_cost_estimates import visit as visit  # noqa: PLC0414  # a fixture
from tests.packs.api.test_pack_types import fault

URL = "/api/v1/consents/"


@pytest.fixture
def estimate(api: Api, visit: str) -> str:
    told: str = api("desk").post(ESTIMATES, estimate_body(visit)).json()["id"]
    return told


def body(visit: str, /, **changes: Any) -> dict[str, Any]:
    said = {"about": "intake", "given": True, "how": "signed", "at": "2024-05-02T11:00:00Z"}
    return {"visit": visit, **said, **changes}


def extra(visit: str, estimate: str, /, **changes: Any) -> dict[str, Any]:
    return body(visit, about="extra_work", how="telephone", estimate=estimate, **changes)


def test_a_word_to_the_work_of_a_visit(api: Api, visit: str) -> None:
    said = body(visit, wording="I agree that the pack is opened.", note="Rosa Lind came herself")
    response = api("desk").post(URL, said)
    assert response.status_code == 201
    told = response.json()
    assert {name: told[name] for name in said} == said
    assert (told["estimate"], told["pack"]) == (None, "TP-0001")
    line = HistoryEntry.objects.get(kind="consent")
    assert line.summary == "Owner's word to the work of the visit: agreed, signed"
    assert api("bench").get(f"{URL}{told['id']}/").json() == told


def test_the_latest_standing_word_is_the_estimates(api: Api, visit: str, estimate: str) -> None:
    desk = api("desk")

    def word() -> str:
        told: str = desk.get(f"{ESTIMATES}{estimate}/").json()["word"]
        return told

    assert word() == "none"
    desk.post(URL, extra(visit, estimate, at="2024-05-03T09:00:00Z"))
    assert word() == "given"
    desk.post(URL, extra(visit, estimate, given=False, at="2024-05-02T12:00:00Z"))
    assert word() == "given"
    later = desk.post(URL, extra(visit, estimate, given=False, at="2024-05-04T09:00:00Z")).json()
    assert word() == "refused"
    api("manager").post(f"{URL}{later['id']}/void/", {"reason": "misheard"})
    assert word() == "given"


def test_without_a_time_it_is_given_now_and_once(api: Api, visit: str) -> None:
    said = body(visit, external_id="c-1")
    del said["at"]
    first = api("desk").post(URL, said)
    again = api("desk").post(URL, said)
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    assert Consent.objects.count() == 1
    other = api("desk").post(URL, {**said, "given": False})
    assert fault(other) == (409, "/external_id", "external_id_taken")


@pytest.mark.parametrize(
    ("changes", "refusal"),
    [
        ({"about": "extra_work"}, (422, "/estimate", "estimate_needed")),
        ({"estimate": "ce_00000000"}, (422, "/estimate", "unknown_cost_estimate")),
        ({"given": "yes"}, (400, "/given", "not_a_boolean")),
        ({"how": "fax"}, (400, "/how", "not_a_choice")),
        ({"about": "all"}, (400, "/about", "not_a_choice")),
        ({"visit": "vi_00000000"}, (422, "/visit", "unknown_visit")),
        ({"at": "2100-01-01T00:00:00Z"}, (422, "/at", "in_the_future")),
    ],
)
def test_what_is_no_word_is_refused(
    api: Api, visit: str, changes: dict[str, Any], refusal: tuple[int, str, str]
) -> None:
    desk, before = api("desk"), world.contents()
    assert fault(desk.post(URL, body(visit, **changes))) == refusal
    assert world.contents() == before


def test_an_estimate_is_of_the_same_visit_and_came_first(
    api: Api, visit: str, estimate: str
) -> None:
    desk = api("desk")
    other = opened(api, pack="TP-0001", opened_at="2024-05-05T08:00:00Z")
    assert fault(desk.post(URL, extra(other, estimate))) == (422, "/estimate", "other_visit")
    early = desk.post(URL, extra(visit, estimate, at="2024-05-02T09:00:00Z"))
    assert fault(early) == (422, "/at", "before_the_estimate")


def test_roles_and_filters(api: Api, visit: str, estimate: str) -> None:
    for role in ("bench", "machine"):
        assert api(role).post(URL, body(visit)).status_code == 403
    one = api("desk").post(URL, body(visit)).json()["id"]
    two = api("manager").post(URL, extra(visit, estimate, given=False)).json()["id"]

    def found(**asked: Any) -> list[str]:
        return [row["id"] for row in api("bench").get(URL, asked).json()["results"]]

    assert found(visit=visit) == [two, one]
    assert found(estimate=estimate) == found(given="false") == found(about="extra_work") == [two]
    assert found(about="intake", voided="false") == [one]
