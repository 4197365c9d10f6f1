"""releases/: a pack leaves the bench, and what stands in its way."""

from typing import Any

import pytest

from packs.models import HistoryEntry, Release, Visit, VoltageCheck, Warranty
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


def loaded(api: Api, visit: str, amperes: float, minute: int = 5, **changes: Any) -> None:
    check = world.check_body(
        "TP-0001", condition="load", current_a=amperes, visit=visit,
        taken_at=f"2024-05-02T10:{minute:02}:00Z", **changes,
    )  # fmt: skip
    assert api("bench").post("/api/v1/voltage-checks/", check).status_code == 201


def swapped(api: Api, visit: str | None, **changes: Any) -> None:
    change = {"position": 3, "removed": None, "fitted": None, "reason": "low"}
    said = {"pack": "TP-0001", "visit": visit, "done_at": "2024-05-02T08:30:00Z", "kind": "module",
            "changes": [change], **changes}  # fmt: skip
    response = api("bench").post("/api/v1/swaps/", said)
    assert response.status_code == 201, response.json()


def codes_of(response: Any) -> list[str]:
    return [one["code"] for one in response.json()["errors"]]


@pytest.mark.parametrize("named", [True, False])
def test_a_swap_without_a_lock_out_is_not_released(api: Api, visit: str, named: bool) -> None:
    swapped(api, visit if named else None)
    response = api("bench").post(URL, body(visit))
    assert (response.status_code, codes_of(response)) == (409, ["no_lock_out", "no_isolation"])
    assert "with the time at which it was made" in response.json()["errors"][0]["detail"]


@pytest.mark.parametrize(
    ("slot", "refused"), [("bus_bar:5", True), ("sense_harness", True), ("cooling_fan", False)]
)
def test_parts_on_the_string_ask_for_a_lock_out(
    api: Api, visit: str, slot: str, refused: bool
) -> None:
    change = {"slot": slot, "removed": None, "fitted": None, "reason": "corroded"}
    swapped(api, visit, kind="component", changes=[change])
    response = api("bench").post(URL, body(visit))
    assert response.status_code == (409 if refused else 201), response.json()


def test_a_release_is_not_dated_before_what_it_rests_on(api: Api, visit: str) -> None:
    response = api("bench").post(URL, body(visit, at="2024-05-02T09:01:30Z"))
    assert fault(response) == (422, "/at", "before_what_it_rests_on")
    assert "the check under load" in response.json()["errors"][0]["detail"]


@pytest.mark.parametrize(("amperes", "tells"), [(9.9, False), (10, True), (30, True), (31, False)])
def test_only_a_load_near_the_reference_tells(
    api: Api, visit: str, amperes: float, tells: bool
) -> None:
    VoltageCheck.objects.filter(condition="load").update(voided_at=world.later(), void_reason="x")
    loaded(api, visit, amperes)
    response = api("bench").post(URL, body(visit))
    if tells:
        assert response.status_code == 201, response.json()
        return
    assert fault(response) == (409, "/visit", "no_load_check")
    said = response.json()["errors"][0]["detail"]
    assert f"at {amperes:g} A; take a check at 10 to 30 A" in said


def test_over_the_limit_a_manager_releases_with_a_reason(api: Api, visit: str) -> None:
    volts = world.healthy_v(level_v=7.6)
    volts[4] -= 2.0
    loaded(api, visit, 20, voltages_v=volts)
    for role, said in (("bench", {}), ("bench", {"over_limit_reason": "known"}), ("manager", {})):
        response = api(role).post(URL, body(visit, **said))
        assert fault(response) == (409, "/visit", "over_limit")
        assert "type's limit of 1.2 V" in response.json()["errors"][0]["detail"]
    told = api("manager").post(URL, body(visit, over_limit_reason="the owner knows"))
    assert told.status_code == 201, told.json()
    assert told.json()["note"] == "Released over the limit: the owner knows"


def test_a_reason_without_need_and_a_road_test_not_driven_are_refused(api: Api, visit: str) -> None:
    response = api("manager").post(URL, body(visit, over_limit_reason="why not"))
    assert fault(response) == (422, "/over_limit_reason", "not_over_limit")
    road = {"distance_km": 0, "highest_current_a": 95.0}
    response = api("bench").post(URL, body(visit, road_test=road))
    assert fault(response) == (422, "/road_test/distance_km", "not_driven")


def promised(api: Api, visit: str) -> Any:
    said = body(visit, warranty={"repair_kind": "module_swap", "months": 12})
    response = api("manager").post(URL, said)
    assert response.status_code == 201, response.json()
    return response.json()


def test_a_voided_release_takes_its_warranty_with_it(api: Api, visit: str) -> None:
    told = promised(api, visit)
    void = api("manager").post(f"{URL}{told['id']}/void/", {"reason": "came back"})
    assert void.status_code == 200, void.json()
    warranty, row = Warranty.objects.get(), Visit.objects.get()
    assert (warranty.voided_at is not None, warranty.void_reason) == (True, "came back")
    assert (row.state, row.waits_for) == ("open", "bench")
    assert HistoryEntry.objects.filter(kind="warranty", action="voided").count() == 1


def test_a_release_is_not_voided_under_claims(api: Api, visit: str) -> None:
    told = promised(api, visit)
    manager = api("manager")
    claim = {"warranty": told["warranty"], "decision": "open"}
    assert manager.post("/api/v1/claims/", claim).status_code == 201
    before = world.contents()
    void = manager.post(f"{URL}{told['id']}/void/", {"reason": "came back"})
    assert fault(void) == (409, "", "claims_stand")
    assert world.contents() == before
