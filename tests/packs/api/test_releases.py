"""releases/: a pack leaves the bench, and what stands in its way."""

from typing import Any

import pytest

from packs.models import HistoryEntry, Release, Visit, Warranty
from tests import world
from tests.packs.api.conftest import Api
from tests.packs.api.test_pack_types import fault

URL = "/api/v1/releases/"


@pytest.fixture
def visit(api: Api) -> str:
    """A pack that is here and was checked at rest and under load."""
    world.person("kim")
    world.pack()
    bench = api("bench")
    opened = {"pack": "TP-0001", "opened_at": "2024-05-02T08:00:00Z", "odometer_km": 120_000}
    key: str = bench.post("/api/v1/visits/", opened).json()["id"]
    for minute, condition, amperes in ((1, "rest", 0), (2, "load", 20)):
        check = world.check_body(
            "TP-0001", condition=condition, current_a=amperes, visit=key,
            taken_at=f"2024-05-02T09:0{minute}:00Z", odometer_km=120_010,
        )  # fmt: skip
        assert bench.post("/api/v1/voltage-checks/", check).status_code == 201
    return key


def body(visit: str, /, **changes: Any) -> dict[str, Any]:
    road = {"distance_km": 12.0, "minutes": 20, "highest_current_a": 95.0}
    said = {"done_by": "kim", "at": "2024-05-02T12:00:00Z", "codes_clear": True, "road_test": road}
    return {"visit": visit, **said, **changes}


def test_a_release_books_the_re_check_and_readies_the_visit(api: Api, visit: str) -> None:
    response = api("bench").post(URL, body(visit))
    assert response.status_code == 201, response.json()
    told = response.json()
    assert (told["recheck_on"], told["recheck_km"]) == ("2024-06-01", 121_010)
    assert told["rest_check"] != told["load_check"]
    row = Visit.objects.get()
    assert (row.state, row.waits_for) == ("ready", "collection")
    line = HistoryEntry.objects.get(kind="release")
    assert line.summary == "Released; to be checked again about 2024-06-01"
    assert api("desk").get(f"{URL}{told['id']}/").json() == told


def test_the_warranty_begins_with_the_release_in_the_shops_terms(api: Api, visit: str) -> None:
    site = {"code": "main", "name": "Main", "time_zone": "UTC",
            "rules": {"warranties": {"module_swap": {"months": 12, "km": 20_000}}}}  # fmt: skip
    assert api("manager").post("/api/v1/sites/", site).status_code == 201
    said = body(visit, warranty={"repair_kind": "module_swap"})
    told = api("bench").post(URL, said).json()
    warranty = Warranty.objects.get()
    assert (warranty.months, warranty.km, warranty.starts_km) == (12, 20_000, 120_010)
    assert str(warranty.starts_on) == "2024-05-02"
    assert told["warranty"] is not None


def test_the_bench_sets_no_terms_of_its_own(api: Api, visit: str) -> None:
    said = body(visit, warranty={"repair_kind": "module_swap", "months": 120})
    response = api("bench").post(URL, said)
    assert fault(response) == (422, "/warranty", "terms_of_the_office")
    assert api("manager").post(URL, said).status_code == 201
    assert Warranty.objects.get().months == 120


def test_without_a_check_after_the_work_there_is_no_release(api: Api) -> None:
    world.person("kim")
    world.pack()
    opened = {"pack": "TP-0001", "opened_at": "2024-05-02T08:00:00Z"}
    bench = api("bench")
    key = bench.post("/api/v1/visits/", opened).json()["id"]
    before = world.contents()
    response = bench.post(URL, body(key))
    assert response.status_code == 409
    assert {one["code"] for one in response.json()["errors"]} == {
        "no_rest_check", "no_load_check",
    }  # fmt: skip
    assert world.contents() == before


def test_an_open_code_stands_in_the_way(api: Api, visit: str) -> None:
    code = {"visit": visit, "code": "P0A80"}
    assert api("bench").post("/api/v1/trouble-codes/", code).status_code == 201
    response = api("bench").post(URL, body(visit))
    assert fault(response) == (409, "/visit", "codes_open")
    response = api("bench").post(URL, body(visit, codes_clear=False))
    assert "codes_not_clear" in [one["code"] for one in response.json()["errors"]]


def test_a_visit_is_released_once(api: Api, visit: str) -> None:
    first = api("bench").post(URL, body(visit, external_id="r-1")).json()
    again = api("bench").post(URL, body(visit, external_id="r-1"))
    assert (again.status_code, again.json()["id"]) == (200, first["id"])
    response = api("bench").post(URL, body(visit))
    assert fault(response) == (409, "/visit", "released_already")
    api("manager").post(f"{URL}{first['id']}/void/", {"reason": "came back from the road"})
    assert api("bench").post(URL, body(visit)).status_code == 201
    assert Release.objects.filter(voided_at__isnull=True).count() == 1


def test_a_signature_is_needed(api: Api, visit: str) -> None:
    said = body(visit)
    del said["done_by"]
    response = api("bench").post(URL, said)
    assert fault(response)[:2] == (400, "/done_by")
    assert api("desk").post(URL, body(visit)).status_code == 403
