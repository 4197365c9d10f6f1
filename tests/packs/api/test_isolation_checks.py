"""isolation-checks/: the voltages, what follows from them, and what cannot be."""

from typing import Any

import pytest

from packs.models import Equipment, HistoryEntry, IsolationCheck
from packs.writes.digests import digest
from tests import world
from tests.packs.api.conftest import Api
from tests.packs.api.test_pack_types import fault

URL = "/api/v1/isolation-checks/"
LEAK = {
    "pack_v": 225,
    "plus_case_v": 45,
    "minus_case_v": 180,
    "shunted_v": 100,
    "shunt_ohm": 125_000,
}


@pytest.fixture
def visit(api: Api) -> str:
    world.pack()
    said = {"pack": "TP-0001", "opened_at": world.later(1).isoformat()}
    told: str = api("desk").post("/api/v1/visits/", said).json()["id"]
    return told


def body(visit: str, /, **changes: Any) -> dict[str, Any]:
    said = {"scope": "pack_alone", "method": "two_voltages", "at": "2024-03-05T09:00:00Z"}
    return {"visit": visit, **said, **LEAK, **changes}


def by_tester(visit: str, /, **changes: Any) -> dict[str, Any]:
    said = {"method": "tester", "isolation_ohm": 2e6, "test_v": 500}
    return {**body(visit, **dict.fromkeys(list(LEAK)[1:])), **said, **changes}


def test_two_voltages_give_the_resistance_the_true_value_and_the_place(
    api: Api, visit: str
) -> None:
    response = api("bench").post(URL, body(visit, wet=True, note="carrier wiped"))
    assert response.status_code == 201
    told = response.json()
    assert told["isolation_ohm"] == told["single_leak_ohm"] / 0.8 == 125_000
    assert told["place"] == {"from_negative": 22.4, "position": 6, "beside": None}
    assert (told["ohm_per_v"], told["least_ohm_per_v"]) == (555.556, 444.444)
    assert (told["verdict"], told["passes"], told["asked_ohm_per_v"]) == (
        "enough_for_dc",
        True,
        100,
    )
    assert told["said"][0].startswith("Enough for direct current: 444 Ω/V")
    line = HistoryEntry.objects.get(kind="isolation_check")
    assert line.summary == "Isolation check, the pack alone, wet: 125 kΩ, 556 Ω/V"
    assert api("desk").get(response["Location"]).json() == told


def test_a_pack_below_its_nominal_voltage_is_judged_by_the_nominal(api: Api, visit: str) -> None:
    told = api("bench").post(URL, by_tester(visit, pack_v=150)).json()
    assert told["ohm_per_v"] == pytest.approx(2e6 / 201.6, rel=1e-5)
    assert (told["single_leak_ohm"], told["place"]) == (None, None)


def test_in_the_car_more_is_asked(api: Api, visit: str) -> None:
    told = api("bench").post(URL, by_tester(visit, scope="in_car", isolation_ohm=60_000)).json()
    assert (told["passes"], told["asked_ohm_per_v"], told["verdict"]) == (
        False,
        500,
        "enough_for_dc",
    )
    good = api("bench").post(URL, by_tester(visit, scope="in_car")).json()
    assert (good["passes"], good["verdict"]) == (True, "good")


@pytest.mark.parametrize(
    ("changes", "refusal"),
    [
        ({"pack_v": 200}, (422, "/pack_v", "sum_above_pack")),
        ({"plus_case_v": 5}, (422, "/pack_v", "sum_below_pack")),
        ({"pack_v": 400}, (422, "/pack_v", "out_of_range")),
        ({"shunted_v": 181}, (422, "/shunted_v", "shunted_above")),
        ({"shunted_v": 0}, (422, "/shunted_v", "shunted_to_nothing")),
        ({"shunted_v": None}, (422, "/shunted_v", "needed_by_method")),
        ({"isolation_ohm": 1e6}, (422, "/isolation_ohm", "not_of_method")),
        ({"plus_case_v": -1}, (422, "/plus_case_v", "min_value")),
        ({"shunt_ohm": 1}, (422, "/shunt_ohm", "min_value")),
        ({"scope": "boat"}, (400, "/scope", "not_a_choice")),
        ({"wet": "no"}, (400, "/wet", "not_a_boolean")),
        ({"equipment": "none"}, (422, "/equipment", "unknown_equipment")),
        ({"at": "2100-01-01T00:00:00Z"}, (422, "/at", "in_the_future")),
        ({"visit": "vi_00000000"}, (422, "/visit", "unknown_visit")),
    ],
)
def test_what_cannot_be_is_refused(
    api: Api, visit: str, changes: dict[str, Any], refusal: tuple[int, str, str]
) -> None:
    bench, before = api("bench"), world.contents()
    assert fault(bench.post(URL, body(visit, **changes))) == refusal
    assert world.contents() == before


def test_a_tester_gives_a_figure_and_no_voltages(api: Api, visit: str) -> None:
    bench = api("bench")
    none = by_tester(visit, isolation_ohm=None)
    assert fault(bench.post(URL, none)) == (422, "/isolation_ohm", "needed_by_method")
    both = by_tester(visit, plus_case_v=10)
    assert fault(bench.post(URL, both)) == (422, "/plus_case_v", "not_of_method")


def test_a_visit_without_a_pack_has_no_string(api: Api) -> None:
    vehicle = {"vin": "TST12345678900001"}
    api("desk").post("/api/v1/vehicles/", vehicle)
    said = {"vehicle": vehicle["vin"], "opened_at": world.later(1).isoformat()}
    visit = api("desk").post("/api/v1/visits/", said).json()["id"]
    assert fault(api("bench").post(URL, body(visit))) == (409, "/visit", "no_pack_on_visit")


def test_sent_twice_it_is_there_once_and_a_void_takes_it_out(api: Api, visit: str) -> None:
    said = body(visit, external_id="i-1")
    said.pop("at")
    bench = api("bench")
    first, again = bench.post(URL, said), bench.post(URL, said)
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    assert fault(bench.post(URL, {**said, "wet": True})) == (
        409,
        "/external_id",
        "external_id_taken",
    )
    voided = api("manager").post(f"{URL}{first.json()['id']}/void/", {"reason": "wrong pack"})
    assert voided.json()["void_reason"] == "wrong pack"
    assert IsolationCheck.objects.filter(voided_at=None).count() == 0


def test_a_meter_that_was_overdue_or_bad_is_told(api: Api, visit: str) -> None:
    said = {"kind": "isolation_tester", "due_on": "2024-03-01", "bad_since": "2024-03-04"}
    tool = Equipment.objects.create(code="IT-1", **said, **world.posted(digest(said)))
    told = api("bench").post(URL, body(visit, equipment=tool.code)).json()
    assert [tool.code in warning for warning in told["warnings"]] == [True, True]


def test_roles_and_filters(api: Api, visit: str) -> None:
    for role in ("desk", "machine"):
        assert api(role).post(URL, body(visit)).status_code == 403
    one = api("bench").post(URL, body(visit)).json()["id"]
    two = (
        api("manager")
        .post(URL, by_tester(visit, scope="in_car", at="2024-03-06T09:00:00Z"))
        .json()["id"]
    )

    def found(**asked: Any) -> list[str]:
        return [row["id"] for row in api("desk").get(URL, asked).json()["results"]]

    assert found(visit=visit, pack="tp-0001") == [two, one]
    assert found(scope="in_car") == found(since="2024-03-06T00:00:00Z") == [two]


def test_a_correction_stays_on_its_visit(api: Api, visit: str) -> None:
    first = api("bench").post(URL, body(visit)).json()
    said = {"pack": "TP-0001", "opened_at": world.later(2).isoformat()}
    other = api("desk").post("/api/v1/visits/", said).json()["id"]
    response = api("bench").post(URL, body(other, supersedes=first["id"]))
    assert fault(response) == (422, "/supersedes", "other_visit")
    assert api("bench").post(URL, body(visit, supersedes=first["id"])).status_code == 201
