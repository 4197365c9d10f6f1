"""work-times/: hours by start and stop."""

from typing import Any

import pytest

from packs.models import HistoryEntry, WorkTime
from tests import world
from tests.packs.api.conftest import Api
from tests.packs.api.test_cost_estimates import opened
from tests.packs.api.test_cost_estimates import visit as visit  # noqa: PLC0414  # a fixture
from tests.packs.api.test_pack_types import fault

URL = "/api/v1/work-times/"
START, STOP = "2024-05-02T09:00:00Z", "2024-05-02T10:30:00Z"


@pytest.fixture(autouse=True)
def hands(db: None) -> None:
    for code in ("kim", "lee"):
        world.person(code)


def body(visit: str, /, **changes: Any) -> dict[str, Any]:
    return {"visit": visit, "done_by": "kim", "stage": "teardown", "started_at": START, **changes}


def test_a_clock_is_started_and_stopped_by_a_record_that_supersedes_it(
    api: Api, visit: str
) -> None:
    bench = api("bench")
    response = bench.post(URL, body(visit))
    assert response.status_code == 201, response.content
    started = response.json()
    assert (started["ended_at"], started["minutes"], started["pack"]) == (None, None, "TP-0001")
    stopped = bench.post(URL, body(visit, ended_at=STOP, supersedes=started["id"]))
    assert stopped.status_code == 201, stopped.content
    assert (stopped.json()["minutes"], stopped.json()["supersedes"]) == (90.0, started["id"])
    assert bench.get(f"{URL}{started['id']}/").json()["void_reason"] == "superseded"
    summaries = HistoryEntry.objects.filter(kind="work_time").order_by("revision")
    assert [line.summary for line in summaries] == [
        "Work begun: teardown",
        "Work time: teardown, 90 min",
    ]
    twice = bench.post(URL, body(visit, ended_at=STOP, supersedes=started["id"]))
    assert fault(twice) == (409, "/supersedes", "already_voided")


def test_the_sums_of_a_visit_count_what_was_stopped_and_not_voided(api: Api, visit: str) -> None:
    bench = api("bench")
    for stage, ended_at in (("teardown", STOP), ("teardown", "2024-05-02T09:30:00Z"),
                            ("tests", "2024-05-02T09:15:00Z")):  # fmt: skip
        said = body(visit, stage=stage, ended_at=ended_at)
        assert bench.post(URL, said).status_code == 201
    voided = bench.post(URL, body(visit, stage="other", ended_at=STOP)).json()["id"]
    assert bench.post(f"{URL}{voided}/void/", {"reason": "other car"}).status_code == 200
    assert bench.post(URL, body(visit, done_by="lee", stage="swaps")).status_code == 201
    told = bench.get(URL, {"visit": visit, "page_size": "2"}).json()
    assert told["minutes_by_stage"] == {"teardown": 120.0, "tests": 15.0}
    assert len(told["results"]) == 2
    assert "minutes_by_stage" not in bench.get(URL).json()


def test_a_person_has_one_clock(api: Api, visit: str) -> None:
    bench = api("bench")
    started = bench.post(URL, body(visit)).json()["id"]
    other = opened(api, pack="TP-0001", opened_at="2024-05-01T09:00:00Z")
    second = bench.post(URL, body(other, stage="tests"))
    assert fault(second) == (409, "/done_by", "clock_runs")
    assert bench.post(URL, body(other, done_by="lee")).status_code == 201
    moved = body(visit, started_at="2024-05-02T08:30:00Z", supersedes=started)
    assert bench.post(URL, moved).status_code == 201
    assert WorkTime.objects.filter(voided_at__isnull=True).count() == 2


def test_sent_twice_it_is_there_once_and_begins_when_it_was_sent_first(
    api: Api, visit: str
) -> None:
    said = body(visit, external_id="w-1")
    del said["started_at"]
    first, again = (api("bench").post(URL, said) for _ in range(2))
    assert (first.status_code, again.status_code) == (201, 200), again.content
    assert first.json() == again.json()


@pytest.mark.parametrize(
    ("changes", "refusal"),
    [
        ({"stage": "lunch"}, (400, "/stage", "not_a_choice")),
        ({"done_by": "nobody"}, (422, "/done_by", "unknown_person")),
        ({"ended_at": "2024-05-02T08:59:00Z"}, (422, "/ended_at", "ends_before_it_begins")),
        ({"ended_at": "2100-01-01T00:00:00Z"}, (422, "/ended_at", "in_the_future")),
        ({"started_at": "2100-01-01T00:00:00Z"}, (422, "/started_at", "in_the_future")),
        ({"visit": "vi_00000000"}, (422, "/visit", "unknown_visit")),
    ],
)
def test_what_is_no_time_is_refused(
    api: Api, visit: str, changes: dict[str, Any], refusal: tuple[int, str, str]
) -> None:
    bench, before = api("bench"), world.contents()
    assert fault(bench.post(URL, body(visit, **changes))) == refusal
    assert world.contents() == before


def test_who_did_it_is_asked(api: Api, visit: str) -> None:
    said = body(visit)
    del said["done_by"]
    assert fault(api("bench").post(URL, said)) == (400, "/done_by", "required")


def test_roles_and_filters(api: Api, visit: str) -> None:
    for role in ("desk", "machine"):
        assert api(role).post(URL, body(visit)).status_code == 403
    one = api("bench").post(URL, body(visit)).json()["id"]
    two = api("bench").post(URL, body(visit, stage="tests", ended_at=STOP)).json()["id"]

    def found(**asked: Any) -> list[str]:
        return [row["id"] for row in api("desk").get(URL, asked).json()["results"]]

    assert found(running="true") == found(stage="teardown") == [one]
    assert found(running="false") == [two]
