"""What is told of one test of a module, and what of it can not be."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from packs.rules import series
from packs.rules.bounds import CURRENT_MAX_A
from packs.rules.check_entry import Wrong
from packs.rules.module_verdicts import Figures
from packs.rules.plausible import CELL_LIMITS_V

Floats = NDArray[np.float64]

CAPACITY, RESISTANCE, STAND, LOAD = KINDS = ("capacity", "resistance", "stand", "load")
KIND_WORDS = {
    CAPACITY: "Capacity",
    RESISTANCE: "Resistance",
    STAND: "Stand",
    LOAD: "Load step",
}
BY_KIND: Mapping[str, tuple[str, ...]] = {
    CAPACITY: ("current_a", "duration_s", "capacity_ah", "cut_off_v"),
    RESISTANCE: ("u1_v", "i1_a", "u2_v", "i2_a", "pulse_s", "resistance_mohm"),
    STAND: ("readings", "capacity_before_ah", "capacity_after_ah"),
    LOAD: ("rest_v", "load_v", "current_a", "after_s"),
}
"""What may be measured in a test of each kind."""

WITH_SERIES = (CAPACITY, RESISTANCE)
POINTS_MAX = 200_000  # of one series: five hours ten times a second; the API's promise
READINGS_MAX = 200  # of one stand; common practice, no source
UNKNOWN_LIMITS_V = (-1.6, 5.0)
"""What a cell of either chemistry can show, V: the widest of packs.rules.plausible."""


@dataclass(frozen=True)
class Basis:
    """What a module's figures are worked out by: its cells in series, and what its type says."""

    cells: int
    chemistry: str | None = None
    cut_off_cell_v: float | None = None
    rated_ah: float | None = None
    reference_c: float = 25.0

    @property
    def limits_v(self) -> tuple[float, float]:
        """What the module can show, V."""
        low, high = CELL_LIMITS_V.get(self.chemistry or "", UNKNOWN_LIMITS_V)
        return low * self.cells, high * self.cells


@dataclass(frozen=True)
class Curve:
    """A series: seconds, amperes and volts, each of shape (n,)."""

    seconds: Floats
    current_a: Floats
    voltage_v: Floats


@dataclass(frozen=True)
class Measured:
    """What is told of a test: its values by name, its series, and the conditions.

    `hours` after charge of each reading of a stand, in order; `days` from its begin to its end.
    """

    values: Mapping[str, Any]
    curve: Curve | None = None
    temperature_c: float | None = None
    hours: tuple[float, ...] = ()
    days: float = 0.0
    method: str = ""


@dataclass(frozen=True)
class Worked:
    """What came of a test: the figures, how they were come by, details by name, notes in words."""

    figures: Figures = field(default_factory=Figures)
    how: str = ""
    details: Mapping[str, Any] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    cycles_ah: tuple[float, ...] = ()


class Refused(ValueError):
    """What was measured can not be; `wrongs` say where and why."""

    def __init__(self, wrongs: Sequence[Wrong]) -> None:
        super().__init__("; ".join(wrong.detail for wrong in wrongs))
        self.wrongs = tuple(wrongs)


def refuse(pointer: str, code: str, detail: str) -> Refused:
    return Refused([Wrong(pointer, code, detail)])


def wrong_in(kind: str, told: Measured, basis: Basis) -> list[Wrong]:
    """What no test of that kind, or no module, can show."""
    return [*_of_other_kinds(kind, told), *_impossible(told, basis)]


def _of_other_kinds(kind: str, told: Measured) -> list[Wrong]:
    sentence = f"A test of kind {kind} has no such value; leave it out, or correct the kind."
    wrongs = [
        Wrong(f"/measured/{name}", "not_of_this_kind", sentence)
        for name in told.values
        if name not in BY_KIND[kind]
    ]
    if told.curve is not None and kind not in WITH_SERIES:
        told_so = f"A test of kind {kind} has no series; leave it out."
        wrongs.append(Wrong("/series", "not_of_this_kind", told_so))
    return wrongs


def _impossible(told: Measured, basis: Basis) -> list[Wrong]:
    """Voltages and currents that no module shows."""
    low, high = basis.limits_v
    wrongs = [
        _beyond_v(f"/measured/{name}", told.values[name], basis)
        for name in ("u1_v", "u2_v", "rest_v", "load_v")
        if name in told.values and not low <= told.values[name] <= high
    ]
    for place, reading in enumerate(told.values.get("readings", ())):
        if not low <= reading["voltage_v"] <= high:
            pointer = f"/measured/readings/{place}/voltage_v"
            wrongs.append(_beyond_v(pointer, reading["voltage_v"], basis))
    return wrongs + (_wrong_series(told.curve, basis) if told.curve else [])


def _beyond_v(pointer: str, volts: float, basis: Basis) -> Wrong:
    low, high = basis.limits_v
    told = (
        f"{volts:g} V can not be: a module of {basis.cells} cells in series shows {low:g} to "
        f"{high:g} V. Read it again, and look at the unit."
    )
    return Wrong(pointer, "out_of_range", told)


def _wrong_series(curve: Curve, basis: Basis) -> list[Wrong]:
    sizes = {curve.seconds.size, curve.current_a.size, curve.voltage_v.size}
    if len(sizes) > 1:
        told = (
            "seconds, current_a and voltage_v differ in length; give one of each for every point."
        )
        return [Wrong("/series", "wrong_count", told)]
    if not series.FEWEST_READINGS <= curve.seconds.size <= POINTS_MAX:
        told = f"A series has {series.FEWEST_READINGS} to {POINTS_MAX} points; thin it out."
        return [Wrong("/series", "wrong_count", told)]
    wrongs = []
    back = series.first_unordered(curve.seconds)
    if back is not None:
        told = "Time goes back here; give the points in order of time, from one clock."
        wrongs.append(Wrong(f"/series/seconds/{back}", "not_in_order", told))
    low, high = basis.limits_v
    outside = _first((curve.voltage_v < low) | (curve.voltage_v > high))
    if outside is not None:
        pointer = f"/series/voltage_v/{outside}"
        wrongs.append(_beyond_v(pointer, float(curve.voltage_v[outside]), basis))
    large = _first(np.abs(curve.current_a) > CURRENT_MAX_A)
    if large is not None:
        told = f"No more than {CURRENT_MAX_A:g} A flows either way; send amperes."
        wrongs.append(Wrong(f"/series/current_a/{large}", "out_of_range", told))
    return wrongs


def _first(where: NDArray[np.bool_]) -> int | None:
    place = int(where.argmax())
    return place if where[place] else None


def rounded(figure: float | None) -> float | None:
    """To nine digits: binary rounding is not told as a figure."""
    return None if figure is None else float(f"{figure:.9g}")
