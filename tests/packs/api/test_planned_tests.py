"""planned-tests/: the queue of tests."""

from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone

from packs.models import Module
from tests import world
from tests.packs.api.conftest import Api
from tests.packs.api.test_pack_types import fault

pytestmark = pytest.mark.django_db
URL = "/api/v1/planned-tests/"
TESTS = "/api/v1/module-tests/"


@pytest.fixture(autouse=True)
def shop() -> None:
    world.module("M-1")


def body(hours: float = 24, /, **changes: Any) -> dict[str, Any]:
    due = timezone.now() + timedelta(hours=hours)
    return {"module": "M-1", "kind": "capacity", "due_at": due.isoformat(), **changes}


def test_a_test_waits_runs_late_and_is_done(api: Api) -> None:
    bench = api("bench")
    long_ago = (timezone.now() - timedelta(days=3)).isoformat()
    waiting = bench.post(URL, body(channel="2", note="after the stand")).json()
    late = bench.post(URL, body(-1, planned_at=long_ago)).json()
    assert (waiting["state"], late["state"]) == ("waiting", "overdue")

    def found(**asked: Any) -> list[str]:
        return [row["id"] for row in api("machine").get(URL, asked).json()["results"]]

    assert found(state="overdue") == [late["id"]]
    assert found(channel="2") == found(state="waiting") == [waiting["id"]]
    begun = (timezone.now() - timedelta(days=1)).isoformat()
    test = {"module": "M-1", "kind": "capacity", "started_at": begun}
    made = bench.post(TESTS, {**test, "measured": {"capacity_ah": 6}}).json()
    assert bench.get(f"{URL}{late['id']}/").json()["state"] == "done"
    assert found(state="waiting") == [waiting["id"]]
    api().post(f"{TESTS}{made['id']}/void/", {"reason": "wrong module"})
    assert found(state="overdue") == [late["id"]]


def test_sent_twice_without_a_time_it_is_there_once(api: Api) -> None:
    said = body(external_id="p-1")
    first, again = (api("bench").post(URL, said) for _ in range(2))
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()


@pytest.mark.parametrize(
    ("changes", "refusal"),
    [
        ({"module": "M-9"}, (422, "/module", "unknown_module")),
        ({"kind": "smell"}, (400, "/kind", "not_a_choice")),
        ({"due_at": "2020-01-01T00:00:00Z"}, (422, "/due_at", "due_before_planned")),
        ({"planned_at": "2100-01-01T00:00:00Z"}, (422, "/planned_at", "in_the_future")),
        ({"equipment": "E-9"}, (422, "/equipment", "unknown_equipment")),
        ({"visit": "vi_00000000"}, (422, "/visit", "unknown_visit")),
    ],
)
def test_what_can_not_be_planned(
    api: Api, changes: dict[str, Any], refusal: tuple[int, str, str]
) -> None:
    bench, before = api("bench"), world.contents()
    assert fault(bench.post(URL, body(**changes))) == refusal
    assert world.contents() == before


def test_nothing_is_planned_of_a_scrapped_module(api: Api) -> None:
    Module.objects.update(status="scrapped")
    assert fault(api("bench").post(URL, body())) == (409, "/module", "module_scrapped")


def test_the_machine_reads_the_queue_and_the_bench_voids_of_it(api: Api) -> None:
    assert api("machine").post(URL, body()).status_code == 403
    bench = api("bench")
    row = bench.post(URL, body()).json()
    assert bench.post(f"{URL}{row['id']}/void/", {"reason": "no need"}).status_code == 200
