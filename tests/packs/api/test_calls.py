"""calls/: owners called, or tried."""

from typing import Any

import pytest

from packs.models import Call, HistoryEntry, Pack
from tests import world
from tests.packs.api.conftest import Api
from tests.world import later

pytestmark = pytest.mark.django_db
ADDRESS = "/api/v1/calls/"
BODY: dict[str, Any] = {
    "pack": "TP-0001",
    "at": later(days=5).isoformat(),
    "reason": "outlook",
    "outcome": "not_reached",
    "again_on": "2024-03-09",
    "note": "try after six",
}


@pytest.fixture(autouse=True)
def pack() -> Pack:
    return world.pack()


def test_a_call_is_no_contact_with_the_pack(api: Api, pack: Pack) -> None:
    pack.refresh_from_db()
    before = pack.last_contact
    answer = api("desk").post(ADDRESS, BODY)
    assert answer.status_code == 201
    told = answer.json()
    assert {name: told[name] for name in BODY if name != "at"} == {
        name: value for name, value in BODY.items() if name != "at"
    }
    assert api("bench").get(answer["Location"]).json() == told
    pack.refresh_from_db()
    assert (pack.last_contact, pack.revision) == (before, told["revision"])
    line = HistoryEntry.objects.get(kind="call")
    assert line.summary == "Owner called about how the pack is doing: not reached"


def test_the_same_again(api: Api) -> None:
    client = api("desk")
    first = client.post(ADDRESS, {**BODY, "external_id": "c-1"})
    again = client.post(ADDRESS, {**BODY, "external_id": "c-1"})
    assert (again.status_code, again.json()) == (200, first.json())
    other = client.post(ADDRESS, {**BODY, "external_id": "c-1", "outcome": "reached"})
    assert other.status_code == 409
    assert Call.objects.count() == 1


@pytest.mark.parametrize(
    ("changes", "status", "pointer"),
    [
        ({"pack": "TP-9"}, 422, "/pack"),
        ({"at": "2150-01-01T00:00:00Z"}, 422, "/at"),
        ({"reason": "chat"}, 400, "/reason"),
        ({"outcome": None}, 400, "/outcome"),
        ({"again_on": "soon"}, 400, "/again_on"),
        ({"visit": "vi_00000000"}, 422, "/visit"),
    ],
)
def test_what_is_refused_changes_nothing(
    api: Api, changes: dict[str, Any], status: int, pointer: str
) -> None:
    client = api("desk")
    before = world.contents()
    answer = client.post(ADDRESS, {**BODY, **changes})
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (status, pointer)
    assert world.contents() == before


@pytest.mark.parametrize(
    ("role", "read", "write"),
    [("desk", 200, 201), ("bench", 200, 403), ("manager", 200, 201), ("machine", 403, 403)],
)
def test_roles(api: Api, role: str, read: int, write: int) -> None:
    client = api(role)
    assert client.get(ADDRESS).status_code == read
    assert client.post(ADDRESS, BODY).status_code == write


def test_lists(api: Api) -> None:
    client = api("desk")
    client.post(ADDRESS, BODY)
    client.post(ADDRESS, {**BODY, "reason": "core", "again_on": "2024-05-01"})

    def reasons(query: str) -> list[str]:
        return [row["reason"] for row in client.get(f"{ADDRESS}?{query}").json()["results"]]

    assert sorted(reasons("")) == ["core", "outlook"]
    assert reasons("again_until=2024-04-01") == ["outlook"]
    assert reasons("reason=core&outcome=not_reached") == ["core"]


def test_a_call_is_voided_by_the_manager_alone(api: Api) -> None:
    client = api("desk")
    one = client.post(ADDRESS, BODY).json()["id"]
    assert client.post(f"{ADDRESS}{one}/void/", {"reason": "another car"}).status_code == 403
    voided = api().post(f"{ADDRESS}{one}/void/", {"reason": "another car"})
    assert voided.json()["void_reason"] == "another car"


def test_the_same_again_without_a_time_is_the_same_call(api: Api) -> None:
    client = api("desk")
    body = {name: value for name, value in BODY.items() if name not in ("at", "again_on")}
    first = client.post(ADDRESS, {**body, "external_id": "c-2"})
    again = client.post(ADDRESS, {**body, "external_id": "c-2"})
    assert (first.status_code, again.status_code, again.json()) == (201, 200, first.json())


def test_nobody_is_called_again_before_the_call(api: Api) -> None:
    told = api("desk").post(ADDRESS, {**BODY, "again_on": "2001-01-01"})
    assert told.status_code == 422
    assert told.json()["errors"][0]["pointer"] == "/again_on"
    assert not Call.objects.exists()
