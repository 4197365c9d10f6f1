"""What voltages can be: the impossible is refused, the strange is kept and marked."""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Cells = NDArray[np.int64]

CELL_LIMITS_V = {"nimh": (-1.6, 1.8), "li_ion": (-0.5, 5.0)}
"""What a cell can show, V, between driven backwards and overcharged. Common practice, no source."""

CELL_STEP_V = {"nimh": (1.15, 1.40), "li_ion": (2.8, 4.3)}
"""By how much a position with one dead cell is lower than its mates, V: the voltage of the cell
that is missing, 1.2 to 1.35 V for NiMH and a little room. Common practice, no source."""

LOW_CELL_V = {"nimh": 0.7, "li_ion": 2.0}
"""A mean cell voltage, V, under which cells are flat or driven backwards: for NiMH the plateau near
0.5 V a cell of a cell driven flat. Common practice, no source."""

ZERO_V = 0.05
"""A position within this of 0 V reads nothing. Common practice, no source."""

MIN_READABLE = 3
"""Readable positions without which a check can not be judged: the API's promise."""

NORMAL_SHARE = (0.65, 1.35)
"""What a working cell shows as a share of its nominal voltage. Common practice, no source."""

WHOLE_SET_SHARE = 0.8
"""Share of positions that must look alike before the whole set is called wrong: a dead one among
them does not hide it. Common practice, no source."""

MOST_CELLS_SHORT = 3
"""Dead cells told as such at one position; more are simply low. Common practice, no source."""

CHEMISTRY_WORDS = {"nimh": "nickel-metal-hydride", "li_ion": "lithium-ion"}


@dataclass(frozen=True)
class Problem:
    """Why a set is refused: at one position (from 1) or, with None, as a whole."""

    position: int | None
    code: str
    detail: str


@dataclass(frozen=True)
class Suspect:
    """A position (from 1) that is possible but strange, and why."""

    position: int
    why: str


def impossible(
    voltages_v: Floats, cells: Cells, chemistry: str, cell_nominal_v: float, level: str
) -> list[Problem]:
    """What refuses a set, shape (p,), V, NaN unreadable; `cells` in series (p,). Empty: nothing.

    Codes: too_few_readable, factor_1000, cell_for_block, out_of_range. A set wrong as a whole is
    told once, not at each position. Raises KeyError for an unknown chemistry.
    """
    readable = int(np.count_nonzero(~np.isnan(voltages_v)))
    if readable < MIN_READABLE:
        return [_too_few(readable, voltages_v.size)]
    lowest_v, highest_v = CELL_LIMITS_V[chemistry]
    per_cell = voltages_v / cells
    low, high = float(np.fmin.reduce(per_cell)), float(np.fmax.reduce(per_cell))
    outside = low < lowest_v or high > highest_v
    if outside or float(np.fmin.reduce(voltages_v)) < NORMAL_SHARE[1] * cell_nominal_v:
        whole = _wrong_as_a_whole(voltages_v, per_cell, cells, cell_nominal_v, level)
        if whole:
            return [whole]
    return _outside(voltages_v, cells, chemistry) if outside else []


def _too_few(readable: int, count: int) -> Problem:
    detail = (
        f"{readable} of {count} positions could be read; at least {MIN_READABLE} are needed. "
        "Read the positions again, or check the leads first."
    )
    return Problem(None, "too_few_readable", detail)


def _share_normal(cell_v: Floats, cell_nominal_v: float) -> float:
    """Share of the readable positions at which a cell shows its working voltage."""
    low, high = (share * cell_nominal_v for share in NORMAL_SHARE)
    normal = np.count_nonzero((cell_v >= low) & (cell_v <= high))
    return float(normal / np.count_nonzero(~np.isnan(cell_v)))


def _wrong_as_a_whole(
    voltages_v: Floats, per_cell: Floats, cells: Cells, cell_nominal_v: float, level: str
) -> Problem | None:
    shown = _middle(voltages_v)
    if _share_normal(per_cell / 1000, cell_nominal_v) >= WHOLE_SET_SHARE:
        return _factor("millivolts", shown, shown / 1000, "divide each by 1000")
    if _share_normal(per_cell * 1000, cell_nominal_v) >= WHOLE_SET_SHARE:
        return _factor("kilovolts", shown, shown * 1000, "multiply each by 1000")
    if int(cells.min()) > 1 and _share_normal(voltages_v, cell_nominal_v) >= WHOLE_SET_SHARE:
        return _cell_for_block(shown, int(cells.min()), cell_nominal_v, level)
    return None


def _middle(voltages_v: Floats) -> float:
    ordered = np.sort(voltages_v)
    return float(ordered[(np.count_nonzero(~np.isnan(ordered)) - 1) // 2])


def _factor(unit: str, shown: float, volts: float, remedy: str) -> Problem:
    detail = (
        f"The whole set looks like {unit} given for volts: the middle one is {shown:g}, "
        f"which would be {volts:g} V. Give volts: {remedy}."
    )
    return Problem(None, "factor_1000", detail)


def _cell_for_block(shown: float, cells: int, cell_nominal_v: float, level: str) -> Problem:
    detail = (
        f"The whole set looks like one cell's voltage given for a {level}'s: the middle one "
        f"is {shown:g} V, where {cells} cells in series have about "
        f"{cells * cell_nominal_v:g} V. Give the voltage of the whole {level}, or post the "
        "check at the level cell."
    )
    return Problem(None, "cell_for_block", detail)


def _outside(voltages_v: Floats, cells: Cells, chemistry: str) -> list[Problem]:
    lowest_v, highest_v = CELL_LIMITS_V[chemistry]
    bad = np.flatnonzero((voltages_v < lowest_v * cells) | (voltages_v > highest_v * cells))
    return [
        _out_of_range(at, float(voltages_v[at]), int(cells[at]), chemistry) for at in bad.tolist()
    ]


def _out_of_range(at: int, volts: float, cells: int, chemistry: str) -> Problem:
    lowest_v, highest_v = CELL_LIMITS_V[chemistry]
    in_series = "1 cell" if cells == 1 else f"{cells} cells in series"
    detail = (
        f"{volts:g} V at position {at + 1} can not be: {in_series} of "
        f"{CHEMISTRY_WORDS[chemistry]} show {lowest_v * cells:g} to {highest_v * cells:g} V. "
        "Read it again, and check unit and level; give null if it can not be read."
    )
    return Problem(at + 1, "out_of_range", detail)


def strange(
    voltages_v: Floats,
    cells: Cells,
    chemistry: str,
    cell_nominal_v: float,
    condition: str,
    current_a: float,
) -> list[Suspect]:
    """Positions that are possible but strange, in order, each once with its first reason.

    `voltages_v` (p,) V, NaN unreadable; `cells` in series (p,); `condition` rest, load or charge
    at `current_a` A. Told: unreadable, 0 V, reversed, cells flat or driven backwards, one to three
    cells short against the median of the mates. Raises KeyError for an unknown chemistry.
    """
    per_cell = voltages_v / cells
    ordered = np.sort(per_cell)
    readable = int(np.count_nonzero(~np.isnan(ordered)))
    cell_v = float(ordered[(readable - 1) // 2] + ordered[readable // 2 - (readable == 0)]) / 2
    below = cell_v * cells - voltages_v
    lowest_step = CELL_STEP_V[chemistry][0]
    if (
        readable == per_cell.size
        and ordered[0] >= LOW_CELL_V[chemistry]
        and float(below.max()) < lowest_step
    ):
        return []
    go = _at_current(condition, current_a)
    tell = _teller(cell_v, chemistry, go)
    told = ((at + 1, tell(float(voltages_v[at]), int(cells[at]))) for at in range(per_cell.size))
    return [Suspect(position, why) for position, why in told if why]


def _at_current(condition: str, current_a: float) -> str:
    return {"load": f"under a load of {current_a:g} A", "charge": "on charge"}.get(
        condition, "at rest"
    )


def _teller(cell_v: float, chemistry: str, go: str) -> Callable[[float, int], str | None]:
    """What is strange about one position, whose mates show `cell_v` a cell."""

    def tell(volts: float, cells: int) -> str | None:
        if math.isnan(volts):
            return "could not be read: check its sense lead"
        if abs(volts) <= ZERO_V:
            return (
                "0 V: its sense lead is off, or as much of it stands the wrong way round as "
                "the right way"
            )
        if volts < 0:
            return f"reversed polarity, {volts:g} V: it stands the wrong way round or is driven so"
        if volts < LOW_CELL_V[chemistry] * cells:
            return f"{volts / cells:.2f} V a cell {go}: cells in it are flat or driven backwards"
        return _short(cell_v * cells - volts, cells, chemistry)

    return tell


def _short(below_v: float, cells: int, chemistry: str) -> str | None:
    count = cells_short(below_v, cells, chemistry)
    if not count:
        return None
    lost = "a cell" if count == 1 else f"{count} cells"
    return f"{below_v:.2f} V below its mates, the step of {lost} short"


def cells_short(below_v: float, cells: int, chemistry: str) -> int:
    """How many dead cells a distance below the mates, V, looks like; 0 where it does not.

    A position is not said to have lost all of its `cells`: that reads 0 V.
    """
    low, high = CELL_STEP_V[chemistry]
    return next(
        (
            count
            for count in range(1, min(MOST_CELLS_SHORT, cells - 1) + 1)
            if low * count <= below_v <= high * count
        ),
        0,
    )
