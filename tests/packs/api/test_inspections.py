"""inspections/: looks at a pack, with graded findings."""

from typing import Any

import pytest

from packs.models import Finding, HistoryEntry, Inspection, Pack
from tests import world
from tests.packs.api.conftest import Api
from tests.world import later

pytestmark = pytest.mark.django_db
ADDRESS = "/api/v1/inspections/"
CORROSION = {
    "part": "bus bar",
    "finding": "corrosion",
    "grade": 2,
    "position": 7,
    "note": "green",
    "photo": None,
}
FILTER = {"part": "filter", "finding": "blocked_filter", "grade": 3}


@pytest.fixture
def pack(db: None) -> Pack:
    return world.pack(built_on=world.BEGUN.date())


def body(**changes: Any) -> dict[str, Any]:
    return {
        "pack": "TP-0001",
        "at": later(days=5).isoformat(),
        "findings": [CORROSION, FILTER],
        "action": "cleaned",
        **changes,
    }


def test_an_inspection_with_its_findings(api: Api, pack: Pack) -> None:
    world.person("kim")
    answer = api("bench").post(ADDRESS, body(done_by="kim"))
    assert answer.status_code == 201
    told = answer.json()
    assert told["findings"][0] == CORROSION
    assert told["findings"][1] == {**FILTER, "position": None, "note": "", "photo": None}
    assert (told["action"], told["done_by"], told["pack"]) == ("cleaned", "kim", "TP-0001")
    assert api("desk").get(answer["Location"]).json() == told
    line = HistoryEntry.objects.get(kind="inspection")
    assert line.summary == ("Inspection: blocked filter (grade 3), corrosion (grade 2, position 7)")


def test_nothing_found_is_worth_recording(api: Api, pack: Pack) -> None:
    answer = api("bench").post(ADDRESS, body(findings=[]))
    assert (answer.status_code, answer.json()["findings"]) == (201, [])


def test_the_same_again(api: Api, pack: Pack) -> None:
    client = api("bench")
    first = client.post(ADDRESS, body(external_id="i-1"))
    again = client.post(ADDRESS, body(external_id="i-1"))
    assert (again.status_code, again.json()) == (200, first.json())
    other = client.post(ADDRESS, body(external_id="i-1", findings=[CORROSION]))
    assert (other.status_code, other.json()["errors"][0]["pointer"]) == (409, "/external_id")
    assert (Inspection.objects.count(), Finding.objects.count()) == (1, 2)


@pytest.mark.parametrize(
    ("changes", "status", "pointer"),
    [
        ({"findings": [FILTER, {**CORROSION, "position": 29}]}, 422, "/findings/1/position"),
        ({"findings": [{**CORROSION, "position": 0}]}, 422, "/findings/0/position"),
        ({"at": "2199-01-01T00:00:00Z"}, 422, "/at"),
        ({"at": "2020-01-01T00:00:00Z"}, 422, "/at"),
        ({"pack": "none"}, 422, "/pack"),
        ({"visit": "vi_00000000"}, 422, "/visit"),
        ({"done_by": "nobody"}, 422, "/done_by"),
        ({"findings": [{**CORROSION, "finding": "rust"}]}, 400, "/findings/0/finding"),
        ({"findings": [{**CORROSION, "grade": "2"}]}, 400, "/findings/0/grade"),
        ({"findings": {}}, 400, "/findings"),
    ],
)
def test_what_is_refused_changes_nothing(
    api: Api, pack: Pack, changes: dict[str, Any], status: int, pointer: str
) -> None:
    client = api("bench")
    before = world.contents()
    answer = client.post(ADDRESS, body(**changes))
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (status, pointer)
    assert world.contents() == before


@pytest.mark.parametrize("grade", [-1, 4])
def test_a_grade_is_0_to_3(api: Api, pack: Pack, grade: int) -> None:
    answer = api("bench").post(ADDRESS, body(findings=[{**CORROSION, "grade": grade}]))
    assert answer.status_code in (400, 422)
    assert answer.json()["errors"][0]["pointer"] == "/findings/0/grade"


def test_voiding(api: Api, pack: Pack) -> None:
    made = api("bench").post(ADDRESS, body())
    answer = api("bench").post(f"{made['Location']}void/", {"reason": "another pack"})
    assert (answer.status_code, answer.json()["void_reason"]) == (200, "another pack")
    assert len(answer.json()["findings"]) == 2
    assert api("bench").get(f"{ADDRESS}?voided=false").json()["results"] == []


@pytest.mark.parametrize(
    ("role", "read", "write"),
    [("desk", 200, 403), ("bench", 200, 201), ("manager", 200, 201), ("machine", 403, 403)],
)
def test_roles(api: Api, pack: Pack, role: str, read: int, write: int) -> None:
    client = api(role)
    assert client.get(ADDRESS).status_code == read
    assert client.post(ADDRESS, body()).status_code == write


def test_lists(api: Api, pack: Pack) -> None:
    client = api("bench")
    for day, findings in ((5, [CORROSION]), (6, [FILTER]), (7, [])):
        client.post(ADDRESS, body(at=later(days=day).isoformat(), findings=findings))

    def days(query: str) -> list[int]:
        return [int(row["at"][8:10]) for row in client.get(f"{ADDRESS}?{query}").json()["results"]]

    assert days("") == [8, 7, 6]
    assert days("ordering=at&pack=tp-0001") == [6, 7, 8]
    assert days("finding=corrosion") == [6]
    assert days("min_grade=3") == [7]
    assert days("since=2024-03-07T00:00:00Z&until=2024-03-08T00:00:00Z") == [7]
