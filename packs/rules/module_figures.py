"""From what was measured of one module to its figures: by kind of test, with words on each."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from packs.rules import resistance, series, stands
from packs.rules.module_tests import (
    BY_KIND,
    CAPACITY,
    LOAD,
    RESISTANCE,
    STAND,
    Basis,
    Curve,
    Measured,
    Refused,
    Worked,
    refuse,
    rounded,
    wrong_in,
)
from packs.rules.module_verdicts import Figures, temperature_note
from packs.rules.plausible import LOW_CELL_V
from packs.rules.reference import ACTIVATION_EV

TWO_CURRENTS = ("u1_v", "i1_a", "u2_v", "i2_a")

LARGEST_SHARE = 3.0
"""Capacity as a multiple of the rated one that no module reaches: a unit is wrong. Common practice,
no source."""

WORDED = {
    "as_read": "as the instrument read it",
    "current_and_time": "one current times its time",
    "series": "counted from the series",
    "readings": "from its readings",
    **resistance.METHODS,
}


def work_out(kind: str, told: Measured, basis: Basis) -> Worked:
    """The figures of a test; raises Refused for what can not be."""
    wrongs = wrong_in(kind, told, basis)
    if wrongs:
        raise Refused(wrongs)
    return {
        CAPACITY: _capacity,
        RESISTANCE: _resistance,
        STAND: _stand,
        LOAD: _load,
    }[kind](told, basis)


def _capacity(told: Measured, basis: Basis) -> Worked:
    values, ways = told.values, []
    if told.curve is not None:
        ways.append("series")
    if "capacity_ah" in values:
        ways.append("as_read")
    if {"current_a", "duration_s"} & set(values) and told.curve is None:
        ways.append("current_and_time")
    if len(ways) != 1:
        detail = "Tell a capacity in one way: as read, as current_a and duration_s, or as a series."
        raise refuse("/measured/capacity_ah", "one_way_needed", detail)
    heat = temperature_note(told.temperature_c)
    notes = () if heat is None else (heat,)
    if ways == ["series"]:
        return _from_series(told, basis, notes)
    if ways == ["as_read"]:
        figure = values["capacity_ah"]
    else:
        figure = series.constant_ah(*_both(values, "current_a", "duration_s"))
    _refuse_capacity(figure, "/measured/capacity_ah", basis)
    return Worked(Figures(capacity_ah=figure), ways[0], {}, notes, (figure,))


def _both(values: Mapping[str, Any], one: str, other: str) -> tuple[float, float]:
    missing = next((name for name in (one, other) if name not in values), None)
    if missing is not None:
        detail = f"{one} and {other} belong together; give both."
        raise refuse(f"/measured/{missing}", "required", detail)
    return values[one], values[other]


def _refuse_capacity(figure: float, pointer: str, basis: Basis) -> None:
    if basis.rated_ah is not None and figure > LARGEST_SHARE * basis.rated_ah:
        detail = (
            f"{figure:.4g} Ah is over {LARGEST_SHARE:g} times the rated {basis.rated_ah:g} Ah; "
            "look at the units, or whether mAh was read."
        )
        raise refuse(pointer, "out_of_range", detail)


def _from_series(told: Measured, basis: Basis, notes: tuple[str, ...]) -> Worked:
    assert told.curve is not None
    cut_off_v = _cut_off_v(told, basis)
    curve = told.curve
    counted = series.count(
        curve.seconds, curve.current_a, curve.voltage_v, cut_off_v=cut_off_v, cells=basis.cells
    )
    if not counted.cycles:
        detail = (
            "No current flows out of the module in this series: positive is out of it, negative "
            "into it. Turn the sign, or look at the columns."
        )
        raise refuse("/series/current_a", "no_discharge", detail)
    last = counted.cycles[-1]
    _refuse_capacity(last.capacity_ah, "/series/current_a", basis)
    cycles = tuple(one.capacity_ah for one in counted.cycles)
    details = {
        "energy_wh": rounded(last.energy_wh),
        "mean_a": rounded(last.mean_a),
        "cut_off_v": cut_off_v,
        "ended_by": last.ended_by,
        "ended_v": rounded(last.ended_v),
        "started_s": rounded(last.started_s),
        "ended_s": rounded(last.ended_s),
        "to_cut_off_ah": rounded(last.to_cut_off_ah),
        "to_knee_ah": rounded(last.to_knee_ah),
        "charged_ah": rounded(counted.charged_ah),
        "cycles_ah": [rounded(figure) for figure in cycles],
    }
    figures = Figures(capacity_ah=last.capacity_ah, change_pct=settled_by(cycles, None))
    return Worked(figures, "series", details, (*_ending(last, cut_off_v), *notes), cycles)


def _cut_off_v(told: Measured, basis: Basis) -> float:
    """The end of the discharge of the module, V: as said, else by its type."""
    if "cut_off_v" in told.values:
        return float(told.values["cut_off_v"])
    cell_v = basis.cut_off_cell_v
    if cell_v is None or cell_v < LOW_CELL_V.get(basis.chemistry or "", 0.0):
        detail = (
            "Nobody says where the discharge of this module ends: give cut_off_v, or set the "
            "protocol of its pack type."
        )
        raise refuse("/measured/cut_off_v", "cut_off_needed", detail)
    return cell_v * basis.cells


def _ending(last: series.Discharge, cut_off_v: float) -> tuple[str, ...]:
    notes = []
    if last.ended_by == "knee":
        beyond = f", {last.to_cut_off_ah:.3g} Ah" if last.to_cut_off_ah is not None else ""
        notes.append(
            f"Counted to the knee at {last.ended_v:.2f} V: one cell empties long before its mates "
            f"and would be driven backwards on the way to the cut-off{beyond}."
        )
    elif last.ended_by == "series":
        notes.append(
            f"The series stops at {last.ended_v:.2f} V, above the cut-off of {cut_off_v:g} V: the "
            "module has at least this much."
        )
    if last.gap_s is not None:
        notes.append(f"{last.gap_s:.0f} s without a reading are counted as a straight line.")
    return tuple(notes)


def settled_by(cycles_ah: Sequence[float], before_ah: float | None) -> float | None:
    """Change of the last cycle against the one before it, %, None where there is none."""
    known = [*([] if before_ah is None else [before_ah]), *cycles_ah]
    if len(known) < 2 or not known[-2]:
        return None
    return series.change_pct(known[-2], known[-1])


def _resistance(told: Measured, basis: Basis) -> Worked:
    values = told.values
    stepped = [name for name in TWO_CURRENTS if name in values]
    given = [bool(stepped), "resistance_mohm" in values, told.curve is not None]
    if sum(given) != 1:
        detail = (
            "Tell a resistance in one way: two voltages with their currents, a series with a "
            "pulse, or resistance_mohm as read."
        )
        raise refuse("/measured/resistance_mohm", "one_way_needed", detail)
    if stepped:
        mohm, how, details = _two_currents(values)
    elif told.curve is not None:
        mohm, how, details = _pulse(told.curve, values)
    else:
        mohm, how, details = float(values["resistance_mohm"]), resistance.AS_READ, {}
        if not told.method and "pulse_s" not in values:
            detail = "A resistance as read says little without its method, such as a.c. 1 kHz."
            raise refuse("/method", "method_needed", detail)
    problem = resistance.sign_problem(mohm)
    if problem is not None:
        pointer = "/measured/u2_v" if stepped else "/measured/resistance_mohm"
        raise refuse(pointer, "no_resistance", problem)
    chemistry = basis.chemistry
    corrected = resistance.at_temperature(
        mohm,
        told.temperature_c,
        basis.reference_c,
        chemistry,
        ACTIVATION_EV.get(chemistry or ""),
    )
    told_also = {"pulse_s": values.get("pulse_s"), "at_reference_mohm": rounded(corrected.mohm)}
    figures = Figures(resistance_mohm=mohm)
    return Worked(figures, how, {**details, **told_also}, (corrected.note,))


def _two_currents(values: Mapping[str, Any]) -> tuple[float, str, dict[str, Any]]:
    for name in (*TWO_CURRENTS, "pulse_s"):
        if name not in values:
            detail = (
                "u1_v at i1_a, u2_v at i2_a and pulse_s, the seconds until the second was read, "
                "belong together; give all."
            )
            raise refuse(f"/measured/{name}", "required", detail)
    problem = resistance.step_problem(values["i1_a"], values["i2_a"])
    if problem is not None:
        raise refuse("/measured/i2_a", "currents_too_near", problem)
    mohm = resistance.between(*(values[name] for name in TWO_CURRENTS))
    how = resistance.TWO_STEP if values["i1_a"] else resistance.PULSE
    return mohm, how, {"delta_a": rounded(values["i2_a"] - values["i1_a"])}


def _pulse(curve: Curve, values: Mapping[str, Any]) -> tuple[float, str, dict[str, Any]]:
    if "pulse_s" not in values:
        detail = "Say after how many seconds the pulse is read."
        raise refuse("/measured/pulse_s", "required", detail)
    found = resistance.of_pulses(curve.seconds, curve.current_a, curve.voltage_v, values["pulse_s"])
    if found is None:
        detail = (
            f"No pulse of {values['pulse_s']:g} s with a steady current stands in this series; "
            "look at the columns and the sign, or read it after another time."
        )
        raise refuse("/series/current_a", "no_pulse", detail)
    return found.mohm, resistance.PULSE, {"delta_a": rounded(found.delta_a), "pulses": found.pulses}


def _stand(told: Measured, basis: Basis) -> Worked:
    readings = told.values.get("readings", ())
    notes, details, slope = [], {}, None
    if readings:
        heat = [reading.get("temperature_c") for reading in readings]
        found = stands.slope(
            np.array(told.hours),
            np.array([reading["voltage_v"] for reading in readings]),
            np.array([np.nan if one is None else one for one in heat]),
        )
        slope = found.mv_per_day
        details = {"used": found.used, "error_mv_per_day": rounded(found.error_mv_per_day)}
        notes += [*([found.why_not] if found.why_not else []), *found.notes]
    pair = {"capacity_before_ah", "capacity_after_ah"} & set(told.values)
    if pair:
        details["pct_per_day"] = rounded(_lost(told))
    if not readings and not pair:
        detail = "A stand is told by readings, or by the capacities before and after it."
        raise refuse("/measured/readings", "required", detail)
    return Worked(Figures(stand_mv_per_day=slope), "readings", details, tuple(notes))


def _lost(told: Measured) -> float:
    """Charge lost in % a day, from the capacities before and after."""
    before, after = _both(told.values, "capacity_before_ah", "capacity_after_ah")
    if told.days <= 0 or not before:
        detail = "Between the two capacities lies no time; correct started_at or ended_at."
        raise refuse("/ended_at", "no_time", detail)
    return stands.pct_per_day(before, after, told.days)


def _load(told: Measured, basis: Basis) -> Worked:
    values = told.values
    for name in BY_KIND[LOAD]:
        if name not in values:
            detail = "A load step is rest_v, load_v, current_a and after_s; give all."
            raise refuse(f"/measured/{name}", "required", detail)
    if values["current_a"] < resistance.LEAST_STEP_A:
        detail = f"A load step takes {resistance.LEAST_STEP_A:g} A out of the module or more."
        raise refuse("/measured/current_a", "min_value", detail)
    sag_v = values["rest_v"] - values["load_v"]
    mohm = sag_v / values["current_a"] * 1000
    if sag_v <= 0:
        detail = "load_v must lie below rest_v; look at which is which."
        raise refuse("/measured/load_v", "no_sag", detail)
    details = {"sag_v": rounded(sag_v), "sag_mohm": rounded(mohm)}
    note = (
        f"It sags by {sag_v:.3g} V at {values['current_a']:g} A after {values['after_s']:g} s: "
        f"{mohm:.3g} mΩ with the settling in it; compare with modules loaded alike."
    )
    return Worked(Figures(), "load_step", details, (note,))
