"""Pre-charge against published figures, and what a test of a part says."""

import math
from typing import Any

import pytest

from packs.rules import junction_board as board
from packs.rules.part_verdicts import MEASURED, Circuit, Verdict, judge, overall

# 11 modules of 12 cells at 1.2 V: 158.4 V nominal, at 1.6 V a cell 211.2 V
ELEVEN = Circuit(highest_v=211.2, pack_resistance_ohm=0.2112, capacitance_f=1e-3)


def test_precharge_as_published() -> None:
    """800 V, 47 ohm, 1000 uF: a resistor maker's calculator, read at resistor-factory.com."""
    fill = board.precharge(800, 47, 1e-3, 0.4)
    assert fill.tau_s == pytest.approx(0.0470)
    assert fill.t95_s == pytest.approx(0.14080, abs=5e-6)
    assert fill.t99_s == pytest.approx(0.216443, abs=5e-7)
    assert fill.inrush_a == pytest.approx(17.0213, abs=5e-5)
    assert fill.peak_w == pytest.approx(13_617.02, abs=5e-3)
    assert fill.energy_j == pytest.approx(320.0)
    assert fill.inrush_bare_a == pytest.approx(2000)


def test_the_resistor_takes_what_the_bus_holds() -> None:
    """100 V, 10,000 uF: 50 J in either, read at konferencjaskd2024.pl."""
    assert board.stored_j(100, 10e-3) == pytest.approx(50)
    tau, steps = 10e-3 * 20, 200_000
    width = 20 * tau / steps
    heat = sum(
        (100 / 20 * math.exp(-(i + 0.5) * width / tau)) ** 2 * 20 * width for i in range(steps)
    )
    assert heat == pytest.approx(50, rel=1e-6)


@pytest.mark.parametrize(
    ("share", "constants"),
    [(0.90, 2.302585), (0.95, 2.995732), (0.98, 3.912023), (0.99, 4.605170), (0.9932621, 5.0)],
)
def test_time_constants_as_published(share: float, constants: float) -> None:
    """A calculator page read at sensata.com; 5 tau are 99.326 % there."""
    assert board.time_constants(share) == pytest.approx(constants, abs=2e-5)


def test_the_largest_resistor_is_just_in_time() -> None:
    ohms = board.largest_resistor(0.5, 0.95, 1e-3)
    assert board.precharge(200, ohms, 1e-3).t95_s == pytest.approx(0.5)


def test_bleeding_down_and_shorts() -> None:
    assert board.bleed_s(300, 60, 1.0) == pytest.approx(1.609438, abs=1e-6)
    assert board.short_circuit_a(211.2, 0.2112) == pytest.approx(1000)
    assert board.offset_ah_a_day(0.5) == 12


def told(
    kind: str,
    measured: dict[str, Any],
    plate: dict[str, Any] | None = None,
    slot: dict[str, Any] | None = None,
    circuit: Circuit = ELEVEN,
) -> dict[str, Verdict]:
    found = judge(kind, measured, plate=plate or {}, slot=slot or {}, circuit=circuit)
    return {verdict.figure: verdict for verdict in found}


def test_a_fuse_of_100_a_and_450_v_in_a_pack_of_158_4_v() -> None:
    """Common practice, no source."""
    fuse = {"rated_a": 100, "rated_v": 450, "breaking_a": 2000}
    found = told("fuse", {"resistance_mohm": 0.8}, fuse, {"rated_a": 100, "resistance_mohm": 1.5})
    assert {name: verdict.passes for name, verdict in found.items()} == {
        "rated_v": True, "breaking_a": True, "rated_a": True, "resistance_mohm": True,
    }  # fmt: skip
    assert found["rated_v"].said == "Rated 450 V d.c., the pack reaches 211.2 V: enough."
    assert "a dead short drives 1,000 A (211.2 V through 211.2 mΩ)" in found["breaking_a"].said


@pytest.mark.parametrize(
    ("plate", "figure"),
    [
        ({"rated_v": 200}, "rated_v"),
        ({"breaking_a": 999}, "breaking_a"),
        ({"rated_a": 125}, "rated_a"),
        ({"rated_a": 80}, "rated_a"),
    ],
)
def test_a_wrong_fuse_is_told(plate: dict[str, Any], figure: str) -> None:
    found = told("fuse", plate, slot={"rated_a": 100})
    assert found[figure].passes is False
    assert overall(tuple(found.values())) == "fails"


def test_a_contactor() -> None:
    slot = {"coil_ohm": 30, "contact_mohm": 0.5, "rated_a": 100}
    good = told("main_contactor", {"coil_ohm": 31, "contact_mohm": 0.3, "welded": False},
                {"rated_v": 450, "rated_a": 150}, slot)  # fmt: skip
    assert {verdict.passes for verdict in good.values()} == {True}
    assert overall(tuple(good.values())) == "passes"
    bad = told("main_contactor", {"coil_ohm": 34, "contact_mohm": 0.9, "welded": True}, {}, slot)
    assert [verdict.passes for verdict in bad.values()] == [False, False, False]
    assert "+13.3 %, outside ±10 %" in bad["coil_ohm"].said
    weak = told("main_contactor", {}, {"rated_a": 80, "rated_v": 450}, slot)
    assert weak["rated_a"].passes is False


def test_a_resistor_against_what_filling_the_bus_asks() -> None:
    found = told(
        "precharge_resistor", {"resistance_ohm": 20}, {"energy_j": 20}, {"resistance_ohm": 22}
    )
    assert found["resistance_ohm"].passes is True
    assert found["energy_j"].passes is False
    assert "each filling puts 22.3 J into it" in found["energy_j"].said
    assert "inrush 10.6 A, without it 1,000 A" in found["precharge"].said
    assert found["precharge"].passes is None


def test_sensors_and_the_rest() -> None:
    assert told("current_sensor", {"offset_a": -0.4})["offset_a"].passes is True
    assert told("current_sensor", {"offset_a": -1.4})["offset_a"].passes is False
    assert (
        told("current_sensor", {"offset_a": 0.4}, slot={"offset_a": 0.2})["offset_a"].passes
        is False
    )
    assert (
        told("temperature_sensor", {"shown_c": 21, "thermometer_c": 25})["shown_c"].passes is False
    )
    assert told("cooling_fan", {"runs": True})["runs"].passes is True
    assert told("sense_harness", {"leads_ok": False})["leads_ok"].passes is False
    assert told("service_switch", {"interlock_ok": True})["interlock_ok"].passes is True


def test_what_nobody_states_is_told_and_not_judged() -> None:
    nothing = Circuit()
    found = told("bus_bar", {"resistance_mohm": 0.2}, circuit=nothing)
    assert found["resistance_mohm"].passes is None
    assert overall(tuple(found.values())) == "not_judged"
    plate = {"rated_v": 450, "breaking_a": 1000, "coil_ohm": "thirty"}
    found = told("main_contactor", {"coil_ohm": 30}, plate, circuit=nothing)
    assert {verdict.passes for verdict in found.values()} == {None}


def test_what_fails_stands_first_and_every_figure_is_judged() -> None:
    found = judge(
        "fuse", {"rated_v": 450, "rated_a": 80}, plate={}, slot={"rated_a": 100}, circuit=ELEVEN
    )
    assert [verdict.passes for verdict in found] == [False, True]
    judged = {"shown_c", "thermometer_c"}
    for kind, names in MEASURED.items():
        values = {
            name: 1 if name not in ("welded", "interlock_ok", "leads_ok", "runs") else True
            for name in names
        }
        judged |= set(told(kind, values, slot={"rated_a": 1}))
    assert {name for names in MEASURED.values() for name in names} <= judged
