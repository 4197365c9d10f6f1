"""module-tests/: figures, verdicts, series, and what no module can show."""

import math
from typing import Any

import pytest
from django.utils import timezone

from packs.models import Equipment, Module, ModuleTest, PackType
from tests import world
from tests.packs.api.conftest import Api
from tests.packs.api.test_pack_types import fault

pytestmark = pytest.mark.django_db
URL = "/api/v1/module-tests/"
BEGUN = "2024-05-02T08:00:00Z"
MARKS = {"capacity_ah": 5.0, "resistance_mohm": 15.0, "stand_mv_per_day": 20.0, "settled_pct": 3.0}


@pytest.fixture(autouse=True)
def shop() -> None:
    """Module M-1 came out of a pack of a type that sets marks."""
    bench = {"pass_marks": MARKS, "protocol": {"cut_off_cell_v": 1.0}}
    world.pack_type()
    PackType.objects.update(bench=bench)
    world.module("M-1", donor_pack=world.pack())


def body(kind: str = "capacity", /, **changes: Any) -> dict[str, Any]:
    measured = {"capacity": {"capacity_ah": 5.8}, "resistance": two_currents(), "load": step()}
    said = {"module": "M-1", "kind": kind, "started_at": BEGUN, "temperature_c": 21.0}
    return {**said, "measured": measured.get(kind, {}), **changes}


def two_currents(**changes: Any) -> dict[str, Any]:
    """IEC 61951-2's two steps: 2.000 mΩ a cell in the worked example."""
    said = {"u1_v": 1.290, "i1_a": 1.3, "u2_v": 1.2666, "i2_a": 13.0, "pulse_s": 3.0}
    return {**said, **changes}


def step(**changes: Any) -> dict[str, Any]:
    return {"rest_v": 7.8, "load_v": 7.2, "current_a": 30.0, "after_s": 10.0, **changes}


def series(points: int = 600, hours: float = 4.6, **changes: Any) -> dict[str, Any]:
    """A discharge of six cells at 1.3 A that ends with all of them together."""
    seconds = [hours * 3600 * n / (points - 1) for n in range(points)]
    share = [n / (points - 1) for n in range(points)]
    volts = [7.5 - 0.3 * s - 7.5 / (1 + math.exp(-(s - 1.0) / 0.012)) for s in share]
    return {"seconds": seconds, "current_a": [1.3] * points, "voltage_v": volts, **changes}


def readings(*days_and_volts: tuple[float, float], heat_c: float | None = 20.0) -> dict[str, Any]:
    return {
        "readings": [
            {"at": world.later(62 + days).isoformat(), "voltage_v": volts, "temperature_c": heat_c}
            for days, volts in days_and_volts
        ]
    }


def posted(api: Api, said: dict[str, Any], status: int = 201) -> dict[str, Any]:
    response = api("bench").post(URL, said)
    assert response.status_code == status, response.json()
    told: dict[str, Any] = response.json()
    return told


def test_a_capacity_as_read_is_held_against_the_mark(api: Api) -> None:
    said = body(method="slow discharge", channel="3", cycle=1, findings={"swelling": 1}, note="ok")
    told = posted(api, said)
    assert {name: told[name] for name in said if name not in ("measured", "findings")} == {
        name: value for name, value in said.items() if name not in ("measured", "findings")
    }
    assert told["measured"] == {"capacity_ah": 5.8}
    assert told["findings"] == {"swelling": 1, "venting": 0, "heat": 0}
    assert (told["capacity_ah"], told["verdict"]) == (5.8, "pass")
    assert told["reasons"] == ["Capacity 5.8 Ah, at or above the mark of 5 Ah."]
    assert (told["computed"]["how"], told["computed"]["judged_by"]) == ("as_read", "NM-28")
    assert api("machine").get(f"{URL}{told['id']}/").json() == told


def test_a_current_and_its_time(api: Api) -> None:
    told = posted(api, body(measured={"current_a": 1.3, "duration_s": 5 * 3600}))
    assert told["capacity_ah"] == pytest.approx(6.5)
    assert told["ended_at"] == "2024-05-02T13:00:00Z"


def test_a_series_is_counted_kept_and_answered(api: Api) -> None:
    sent = series()
    told = posted(api, body(measured={}, series=sent))
    computed = told["computed"]
    assert computed["ended_by"] == "cut_off"
    assert computed["cut_off_v"] == 6.0
    assert 5.8 < told["capacity_ah"] < 5.98
    assert computed["energy_wh"] == pytest.approx(told["capacity_ah"] * 7.33, rel=0.02)
    back = api("machine").get(f"{URL}{told['id']}/series/").json()
    assert back["points"] == 600
    for column in ("seconds", "current_a", "voltage_v"):
        assert back[column] == pytest.approx(sent[column], abs=2e-3)


def test_a_test_without_a_series_has_none(api: Api) -> None:
    told = posted(api, body())
    assert fault(api("bench").get(f"{URL}{told['id']}/series/"))[::2] == (404, "no_series")


def test_the_last_of_three_cycles_is_judged_when_it_has_settled(api: Api) -> None:
    for cycle, figure in ((1, 5.0), (2, 5.5)):
        told = posted(api, body(cycle=cycle, measured={"capacity_ah": figure}))
    assert told["computed"]["change_pct"] == pytest.approx(10.0)
    assert told["verdict"] == "fail"
    third = posted(api, body(cycle=3, measured={"capacity_ah": 5.6}))
    assert third["computed"]["change_pct"] == pytest.approx(100 * 0.1 / 5.5)
    assert third["verdict"] == "pass"


def test_two_currents_give_the_resistance_of_the_worked_example(api: Api) -> None:
    told = posted(api, body("resistance"))
    assert told["resistance_mohm"] == pytest.approx(2.0, abs=1e-9)
    computed = told["computed"]
    assert (computed["how"], computed["pulse_s"], told["verdict"]) == ("two_step", 3.0, "pass")
    assert "No published temperature coefficient" in computed["notes"][0]


def test_a_pulse_in_a_series(api: Api) -> None:
    seconds = [n * 0.5 for n in range(200)]
    amps = [0.0 if n < 100 else 30.0 for n in range(200)]
    volts = [7.8 - amp * 0.02 for amp in amps]
    told = posted(
        api,
        body(
            "resistance",
            measured={"pulse_s": 10},
            series={"seconds": seconds, "current_a": amps, "voltage_v": volts},
        ),
    )
    assert told["resistance_mohm"] == pytest.approx(20.0)
    assert (told["computed"]["pulses"], told["verdict"]) == (1, "fail")


def test_a_stand_is_a_slope_after_the_first_day(api: Api) -> None:
    said = body(
        "stand",
        started_at=world.later(62).isoformat(),
        measured=readings((0.1, 8.5), (1, 8.1), (4, 8.07), (8, 8.03)),
    )
    told = posted(api, said)
    assert told["stand_mv_per_day"] == pytest.approx(10.0)
    assert (told["computed"]["used"], told["verdict"]) == (3, "pass")
    warm = {**said, "measured": readings((1, 8.1), (4, 8.07), (8, 8.03))}
    warm["measured"]["readings"][2]["temperature_c"] = 27
    other = posted(api, warm)
    assert (other["stand_mv_per_day"], other["verdict"]) == (None, "no_mark")
    assert "7 °C" in other["computed"]["notes"][0]


def test_charge_lost_in_percent_a_day_takes_two_capacities(api: Api) -> None:
    told = posted(
        api,
        body(
            "stand",
            ended_at="2024-05-30T08:00:00Z",
            measured={"capacity_before_ah": 6.5, "capacity_after_ah": 3.9},
        ),
    )
    assert told["computed"]["pct_per_day"] == pytest.approx(1.8078, abs=5e-5)
    assert told["stand_mv_per_day"] is None


def test_a_load_step(api: Api) -> None:
    computed = posted(api, body("load"))["computed"]
    assert (computed["sag_v"], computed["sag_mohm"]) == (pytest.approx(0.6), pytest.approx(20.0))


REFUSED: list[tuple[str, dict[str, Any], tuple[int, str, str]]] = [
    ("capacity", {"module": "M-9"}, (422, "/module", "unknown_module")),
    ("capacity", {"measured": {}}, (422, "/measured/capacity_ah", "one_way_needed")),
    ("capacity", {"measured": {"capacity_ah": 25}}, (422, "/measured/capacity_ah", "out_of_range")),
    ("capacity", {"measured": {"u1_v": 7.2}}, (422, "/measured/u1_v", "not_of_this_kind")),
    ("capacity", {"measured": {"current_a": 1.3}}, (422, "/measured/duration_s", "required")),
    ("capacity", {"measured": {"volts": 1}}, (400, "/measured/volts", "unknown_field")),
    ("capacity", {"started_at": "2100-01-01T00:00:00Z"}, (422, "/started_at", "in_the_future")),
    ("capacity", {"ended_at": "2024-05-02T07:00:00Z"}, (422, "/ended_at", "ends_before_it_begins")),
    ("capacity", {"pack_type": "X"}, (422, "/pack_type", "unknown_pack_type")),
    ("capacity", {"equipment": "E-9"}, (422, "/equipment", "unknown_equipment")),
    ("capacity", {"temperature_c": 99}, (422, "/temperature_c", "max_value")),
    ("capacity", {"findings": {"heat": 4}}, (422, "/findings/heat", "max_value")),
    ("capacity", {"findings": {"smell": 1}}, (400, "/findings/smell", "unknown_field")),
    ("capacity", {"cycle": 0}, (422, "/cycle", "min_value")),
    ("resistance", {"measured": two_currents(u2_v=1.35)}, (422, "/measured/u2_v", "no_resistance")),
    ("resistance", {"measured": two_currents(u1_v=1290)}, (422, "/measured/u1_v", "out_of_range")),
    ("resistance", {"measured": two_currents(i2_a=1.4)}, (422, "/measured/i2_a", "currents_too_near")),
    ("resistance", {"measured": two_currents(pulse_s=None)}, (422, "/measured/pulse_s", "required")),
    ("resistance", {"measured": {"resistance_mohm": 12}}, (422, "/method", "method_needed")),
    ("stand", {"measured": {}}, (422, "/measured/readings", "required")),
    ("stand", {"series": series(10)}, (422, "/series", "not_of_this_kind")),
    ("load", {"measured": step(load_v=7.9)}, (422, "/measured/load_v", "no_sag")),
    ("load", {"measured": step(current_a=-30)}, (422, "/measured/current_a", "min_value")),
    ("load", {"measured": step(after_s=None)}, (422, "/measured/after_s", "required")),
]  # fmt: skip


@pytest.mark.parametrize(("kind", "changes", "refusal"), REFUSED)
def test_what_can_not_be_is_refused_where_it_stands(
    api: Api, kind: str, changes: dict[str, Any], refusal: tuple[int, str, str]
) -> None:
    bench, before = api("bench"), world.contents()
    assert fault(bench.post(URL, body(kind, **changes))) == refusal
    assert world.contents() == before


SERIES_REFUSED: list[tuple[dict[str, Any], tuple[int, str, str]]] = [
    ({"current_a": [1.3] * 9}, (422, "/series", "wrong_count")),
    ({"current_a": [-1.3] * 10}, (422, "/series/current_a", "no_discharge")),
    ({"current_a": [*[1.3] * 9, 2500]}, (422, "/series/current_a/9", "out_of_range")),
    ({"voltage_v": [*[7.2] * 4, 7200, *[7.2] * 5]}, (422, "/series/voltage_v/4", "out_of_range")),
    ({"seconds": [0, 1, 2, 1, 4, 5, 6, 7, 8, 9]}, (422, "/series/seconds/3", "not_in_order")),
    ({"voltage_v": [*[7.2] * 9, None]}, (400, "/series/voltage_v/9", "not_a_number")),
    ({"voltage_v": [*[7.2] * 9, True]}, (400, "/series/voltage_v/9", "not_a_number")),
    ({"seconds": "0 1 2"}, (400, "/series/seconds", "not_a_list")),
]  # fmt: skip


@pytest.mark.parametrize(("changes", "refusal"), SERIES_REFUSED)
def test_a_series_that_can_not_be(
    api: Api, changes: dict[str, Any], refusal: tuple[int, str, str]
) -> None:
    said = body(measured={}, series=series(10, hours=0.01, **changes))
    assert fault(api("bench").post(URL, said)) == refusal


def test_a_series_of_200000_points_and_no_more(api: Api) -> None:
    machine = api("machine")
    most = {"seconds": [*range(200_000)], "current_a": [0.1] * 200_000, "voltage_v": [7] * 200_000}
    assert machine.post(URL, body(measured={}, series=most)).status_code == 201
    more = {**most, "seconds": [*range(200_001)]}
    answer = machine.post(URL, body(measured={}, series=more))
    assert fault(answer) == (422, "/series/seconds", "wrong_count")


def test_a_test_can_not_end_ahead_of_the_clock(api: Api) -> None:
    said = body(started_at=timezone.now().isoformat(), measured={}, series=series())
    assert fault(api("bench").post(URL, said)) == (422, "/started_at", "ends_in_the_future")


def test_sent_twice_it_is_there_once_whatever_came_between(api: Api) -> None:
    machine = api("machine")
    said = body(cycle=2, external_id="t-1", measured={}, series=series())
    first = machine.post(URL, said)
    posted(api, body(cycle=1))
    PackType.objects.update(bench={})
    again = machine.post(URL, said)
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    other = machine.post(URL, {**said, "series": series(601)})
    assert fault(other) == (409, "/external_id", "external_id_taken")
    assert ModuleTest.objects.count() == 2


def test_a_correction_takes_its_place_and_a_void_says_why(api: Api) -> None:
    first = posted(api, body())
    second = posted(api, body(measured={"capacity_ah": 4.8}, supersedes=first["id"]))
    assert second["verdict"] == "fail"
    assert api("bench").get(f"{URL}{first['id']}/").json()["void_reason"] == "superseded"
    voided = api().post(f"{URL}{second['id']}/void/", {"reason": "wrong module"})
    assert voided.json()["void_reason"] == "wrong module"


def test_lithium_ion_needs_a_cut_off_of_its_own(api: Api) -> None:
    kind = world.pack_type(
        "LI-8", module_count=8, chemistry="li_ion", cells_per_module=2, cell_nominal_v=3.6
    )
    world.module("L-1", cells=2, donor_pack=world.pack("TP-LI", kind))
    said = body(module="L-1", measured={}, series=series(50))
    assert fault(api("bench").post(URL, said)) == (422, "/measured/cut_off_v", "cut_off_needed")
    told = posted(api, {**said, "measured": {"cut_off_v": 6.0}})
    assert told["computed"]["ended_by"] == "cut_off"


def test_a_module_of_no_known_type_is_counted_and_not_judged(api: Api) -> None:
    world.module("M-2")
    told = posted(api, body(module="M-2"))
    assert (told["verdict"], told["capacity_ah"]) == ("no_mark", 5.8)
    judged = posted(api, body(module="M-2", pack_type="NM-28"))
    assert (judged["verdict"], judged["computed"]["judged_by"]) == ("pass", "NM-28")


def test_a_tester_overdue_for_its_own_test_is_told(api: Api) -> None:
    Equipment.objects.create(code="E-1", kind="tester", due_on="2024-05-01", **world.posted(b"-"))
    told = posted(api, body(equipment="E-1"))
    assert "E-1 was due" in told["computed"]["warnings"][0]


def test_roles_and_filters(api: Api) -> None:
    assert api("desk").post(URL, body()).status_code == 403
    Module.objects.filter(tag="M-1").update(lot=None)
    world.module("M-2")
    one = posted(api, body())["id"]
    two = api("machine").post(URL, body("load", module="M-2", started_at="2024-06-02T08:00:00Z"))
    found_two = two.json()["id"]

    def found(**asked: Any) -> list[str]:
        return [row["id"] for row in api("desk").get(URL, asked).json()["results"]]

    assert found() == [found_two, one]
    assert found(module="M-1") == found(kind="capacity") == found(donor_pack="tp-0001") == [one]
    assert found(since="2024-06-01T00:00:00Z") == [found_two]
    assert found(lot="L-9") == found(pack="TP-0001") == []
