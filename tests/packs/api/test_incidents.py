"""incidents/: somebody was hurt or something broke, or nearly."""

from typing import Any

import pytest

from packs.models import HistoryEntry, Incident, Pack
from tests import world
from tests.packs.api.conftest import Api
from tests.packs.api.test_cost_estimates import visit as visit  # noqa: PLC0414  # a fixture
from tests.packs.api.test_pack_types import fault

URL = "/api/v1/incidents/"


def body(**changes: Any) -> dict[str, Any]:
    said = {"kind": "near_miss", "harm": "none", "at": "2024-05-02T11:00:00Z"}
    return {**said, "what": "Rosa dropped a spanner between two bars", **changes}


def test_an_incident_on_a_visit(api: Api, visit: str) -> None:
    """The history tells that there was one, and no words that could name somebody."""
    said = body(visit=visit, action="insulated tools only", kind="incident", harm="damage")
    response = api("desk").post(URL, said)
    assert response.status_code == 201, response.content
    told = response.json()
    assert {name: told[name] for name in said} == said
    assert told["pack"] == "TP-0001"
    assert HistoryEntry.objects.get(kind="incident").summary == "Incident: damage"
    assert api("bench").get(response["Location"]).json() == told


def test_an_incident_on_no_visit_raises_no_revision(api: Api, visit: str) -> None:
    before = Pack.objects.get().revision
    told = api("bench").post(URL, body()).json()
    assert (told["visit"], told["pack"], told["revision"]) == (None, None, None)
    assert Pack.objects.get().revision == before
    void = api("manager").post(f"{URL}{told['id']}/void/", {"reason": "noted twice"})
    assert void.status_code == 200
    assert void.json()["void_reason"] == "noted twice"


@pytest.mark.parametrize("on_visit", [True, False])
def test_without_a_time_it_happened_now_and_once(api: Api, visit: str, on_visit: bool) -> None:
    said = body(external_id="i-1", **({"visit": visit} if on_visit else {}))
    del said["at"]
    first, again = (api("bench").post(URL, said) for _ in range(2))
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    other = api("bench").post(URL, {**said, "harm": "medical"})
    assert fault(other) == (409, "/external_id", "external_id_taken")
    assert Incident.objects.count() == 1


@pytest.mark.parametrize(
    ("changes", "refusal"),
    [
        ({"kind": "accident"}, (400, "/kind", "not_a_choice")),
        ({"harm": "some"}, (400, "/harm", "not_a_choice")),
        ({"what": ""}, (400, "/what", "blank")),
        ({"at": "2100-01-01T00:00:00Z"}, (422, "/at", "in_the_future")),
        ({"visit": "vi_00000000"}, (422, "/visit", "unknown_visit")),
    ],
)
def test_what_is_no_incident_is_refused(
    api: Api, visit: str, changes: dict[str, Any], refusal: tuple[int, str, str]
) -> None:
    bench, before = api("bench"), world.contents()
    assert fault(bench.post(URL, body(**changes))) == refusal
    assert world.contents() == before


def test_roles_and_filters(api: Api, visit: str) -> None:
    assert api("machine").post(URL, body()).status_code == 403
    one = api("bench").post(URL, body(visit=visit)).json()["id"]
    two = api("desk").post(URL, body(harm="first_aid", at="2024-05-03T11:00:00Z")).json()["id"]

    def found(**asked: Any) -> list[str]:
        return [row["id"] for row in api("bench").get(URL, asked).json()["results"]]

    assert found() == [two, one]
    assert found(visit=visit) == found(harm="none") == found(pack="TP-0001") == [one]
    assert found(since="2024-05-03T00:00:00Z") == [two]
