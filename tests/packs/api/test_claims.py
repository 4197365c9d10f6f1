"""claims/: what was asked of a warranty, and what was decided."""

from typing import Any

import pytest

from packs.models import Claim, HistoryEntry, Pack
from tests import world
from tests.packs.api.conftest import Api
from tests.world import later

pytestmark = pytest.mark.django_db
ADDRESS = "/api/v1/claims/"


@pytest.fixture
def warranty(api: Api) -> str:
    world.pack()
    said = {"pack": "TP-0001", "repair_kind": "rebuild", "starts_on": "2024-04-01", "months": 12}
    answer = api().post("/api/v1/warranties/", said)
    assert answer.status_code == 201
    return str(answer.json()["id"])


def body(warranty: str, **changes: Any) -> dict[str, Any]:
    return {
        "warranty": warranty,
        "decision": "accepted",
        "reason": "module 7 again",
        "parts_cost": 62.5,
        "labour_cost": 120,
        "goodwill": None,
        **changes,
    }


def test_a_claim_is_of_the_warranty_s_pack(api: Api, warranty: str) -> None:
    opened = {"pack": "TP-0001", "opened_at": later(days=60).isoformat()}
    visit = api().post("/api/v1/visits/", opened).json()["id"]
    revision = Pack.objects.get().revision
    answer = api("desk").post(ADDRESS, body(warranty, visit=visit))
    assert answer.status_code == 201
    told = answer.json()
    assert {name: told[name] for name in body(warranty)} == body(warranty)
    assert (told["pack"], told["visit"], told["revision"]) == ("TP-0001", visit, revision + 1)
    assert api("bench").get(answer["Location"]).json() == told
    line = HistoryEntry.objects.get(kind="claim")
    assert (line.happened_at, line.summary) == (later(days=60), "Claim under warranty: accepted")


def test_the_same_again(api: Api, warranty: str) -> None:
    client = api("desk")
    first = client.post(ADDRESS, body(warranty, external_id="c-1"))
    again = client.post(ADDRESS, body(warranty, external_id="c-1"))
    assert (again.status_code, again.json()) == (200, first.json())
    other = client.post(ADDRESS, body(warranty, external_id="c-1", parts_cost=63))
    assert (other.status_code, other.json()["errors"][0]["pointer"]) == (409, "/external_id")
    assert Claim.objects.count() == 1


def test_a_decision_takes_the_place_of_an_open_claim(api: Api, warranty: str) -> None:
    client = api("desk")
    first = client.post(ADDRESS, body(warranty, decision="open")).json()
    answer = client.post(ADDRESS, body(warranty, supersedes=first["id"]))
    assert (answer.status_code, answer.json()["supersedes"]) == (201, first["id"])
    standing = client.get(f"{ADDRESS}?voided=false").json()["results"]
    assert [row["decision"] for row in standing] == ["accepted"]


@pytest.mark.parametrize(
    ("changes", "status", "pointer"),
    [
        ({"warranty": "wa_00000000"}, 422, "/warranty"),
        ({"visit": "vi_00000000"}, 422, "/visit"),
        ({"decision": "maybe"}, 400, "/decision"),
        ({"parts_cost": "62.50"}, 400, "/parts_cost"),
        ({"parts_cost": 62.555}, 400, "/parts_cost"),
        ({"pack": "TP-0001"}, 400, "/pack"),
    ],
)
def test_what_is_refused_changes_nothing(
    api: Api, warranty: str, changes: dict[str, Any], status: int, pointer: str
) -> None:
    client = api("desk")
    before = world.contents()
    answer = client.post(ADDRESS, {**body(warranty), **changes})
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (status, pointer)
    assert world.contents() == before


def test_nothing_is_claimed_under_a_voided_warranty(api: Api, warranty: str) -> None:
    manager = api()
    manager.post(f"/api/v1/warranties/{warranty}/void/", {"reason": "another pack"})
    before = world.contents()
    answer = manager.post(ADDRESS, body(warranty))
    assert (answer.status_code, answer.json()["errors"][0]["code"]) == (409, "warranty_voided")
    assert world.contents() == before


@pytest.mark.parametrize(
    ("role", "read", "write"),
    [("desk", 200, 201), ("bench", 200, 403), ("manager", 200, 201), ("machine", 403, 403)],
)
def test_roles(api: Api, warranty: str, role: str, read: int, write: int) -> None:
    client = api(role)
    assert client.get(ADDRESS).status_code == read
    assert client.post(ADDRESS, body(warranty)).status_code == write


def test_lists(api: Api, warranty: str) -> None:
    client = api("desk")
    for decision in ("open", "refused", "accepted"):
        client.post(ADDRESS, body(warranty, decision=decision))

    def decisions(query: str) -> list[str]:
        return [row["decision"] for row in client.get(f"{ADDRESS}?{query}").json()["results"]]

    assert decisions("") == ["accepted", "refused", "open"]
    assert decisions("ordering=recorded_at&pack=tp-0001") == ["open", "refused", "accepted"]
    assert decisions("decision=open") == ["open"]
    assert len(decisions(f"warranty={warranty}")) == 3
    assert decisions("warranty=wa_00000000") == []
