"""Coulomb counting: capacity and energy of a discharge from its series of readings.

Series are seconds, amperes (positive out of the module) and volts, each of shape (n,), in order of
time. A discharge ends at the cut-off, or at the knee where one cell empties long before its mates:
the average of a string hides a cell that is driven backwards.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

FLOWING_SHARE = 0.02
"""Current as a share of the largest of the series under which nothing flows. Common practice, no
source."""

LEAST_CYCLE_SHARE = 0.1
"""Share of the largest discharge of a series under which another is a pulse and no cycle. Common
practice, no source."""

BELOW_IN_A_ROW = 3
"""Readings at or below the cut-off, one after another, that end a discharge: one alone is a
glitch. Common practice, no source."""

EDGE_STEPS = 2.0
"""Median steps that the reading beside a discharge may be away to be counted with it: a tester that
logs seldom at rest would else add charge that never flowed. Common practice, no source."""

GAP_STEPS = 20.0
"""Median steps without a reading that are told as a gap. Common practice, no source."""

KNEE_SHARE = 0.5
"""Share of a cell's voltage by which a module lies below the line of its plateau at the knee: one
cell of the string is then all but empty. Common practice, no source."""

KNEE_STEEP = 3.0
"""How many times the slope of the plateau, V/Ah, the curve has at the knee. Common practice, no
source."""

KNEE_EARLY_SHARE = 0.03
"""Share of the charge that flows between knee and cut-off from which the knee ends the discharge
instead: healthy cells empty together. Common practice, no source."""

FEWEST_READINGS = 2
"""Readings between which any charge can flow."""

_PIECES = 160  # that a discharge is looked at in for its knee; common practice, no source
_FEWEST_PIECES = 20  # too coarse else to tell a knee from a reading; common practice, no source
_LOOKED_AT = 32  # readings of a piece that its voltage is the mean of; common practice, no source
_TRUE = b"\x01"
_PLATEAU = (0.25, 0.9)  # share of the pieces that are taken for the plateau
_A_HOUR = 3600.0


@dataclass(frozen=True)
class Discharge:
    """One discharge: charge and energy up to its end, and what ended it.

    `ended_by`: cut_off, knee, or series where the readings stop before either. Seconds as in the
    series. `to_cut_off_ah` and `to_knee_ah` are both told where both were reached.
    """

    capacity_ah: float
    energy_wh: float
    mean_a: float
    started_s: float
    ended_s: float
    ended_v: float
    ended_by: str
    to_cut_off_ah: float | None = None
    to_knee_ah: float | None = None
    gap_s: float | None = None


@dataclass(frozen=True)
class Counted:
    """All discharges of a series in order of time, and the charge that went in, Ah."""

    cycles: tuple[Discharge, ...]
    charged_ah: float


@dataclass(frozen=True)
class _Run:
    """The readings of one discharge, views of the series, and their median step, s."""

    step: float
    seconds: Floats
    current_a: Floats
    voltage_v: Floats


@dataclass(frozen=True)
class _Pieces:
    """A run in pieces of equally many steps: `length` of them, in the last one what is left.

    Twice the charge (p,) in A·s, twice the energy (p,) in W·s, and of each whole piece the mean
    voltage of its first readings, V.
    """

    length: int
    twice_as: Floats
    twice_ws: Floats
    volts: Floats


@dataclass(frozen=True)
class _End:
    """Where a run ends: between two readings, `share` of the way from `at` to the next."""

    at: int
    share: float


def count(
    seconds: Floats, current_a: Floats, voltage_v: Floats, *, cut_off_v: float, cells: int
) -> Counted:
    """Capacity and energy of each discharge in a series, by the trapezoidal rule.

    Q = Σ (I_k + I_k+1)/2 · Δt; `cut_off_v` in V of the whole module of `cells` in series. Charging
    parts discharges from one another; a rest does not. No discharge: no cycles.
    """
    highest, lowest = float(current_a.max(initial=0.0)), float(current_a.min(initial=0.0))
    flowing_a = FLOWING_SHARE * max(highest, -lowest)
    charges = lowest < -flowing_a
    charged_ah = _charged(seconds, current_a, flowing_a) if charges else 0.0
    if highest <= 0 or seconds.size < FEWEST_READINGS:
        return Counted((), charged_ah)
    runs = _runs(seconds, current_a, voltage_v, flowing_a, charges=charges)
    found = [_discharge(run, cut_off_v, cells) for run in runs]
    largest = max((one.capacity_ah for one in found), default=0.0)
    kept = tuple(one for one in found if one.capacity_ah >= LEAST_CYCLE_SHARE * largest)
    return Counted(kept, charged_ah)


def _charged(seconds: Floats, current_a: Floats, flowing_a: float) -> float:
    """Ah that went in between readings that both were of a charge."""
    charging = current_a < -flowing_a
    both = charging[1:] & charging[:-1]
    twice_as = np.diff(seconds) * (current_a[1:] + current_a[:-1])
    return float(-twice_as[both].sum()) / 2 / _A_HOUR


def _runs(
    seconds: Floats, current_a: Floats, voltage_v: Floats, flowing_a: float, *, charges: bool
) -> list[_Run]:
    """The discharges of a series, each with the readings beside it where those are near."""
    out = current_a > flowing_a
    if not charges:
        marks = out.tobytes()  # searched from both ends faster than by argmax from one
        ends = [(marks.find(_TRUE), marks.rfind(_TRUE))]
    else:
        places = np.flatnonzero(out)
        charging = np.cumsum(current_a < -flowing_a)[places]
        parts = np.split(places, np.flatnonzero(np.diff(charging)) + 1)
        ends = [(int(part[0]), int(part[-1])) for part in parts if part.size > 1]
    return [_run(seconds, current_a, voltage_v, first, last) for first, last in ends]


def _run(seconds: Floats, current_a: Floats, voltage_v: Floats, first: int, last: int) -> _Run:
    step = _median_step(seconds[first : last + 1])
    begin, end = first, last + 1
    if first and current_a[first - 1] >= 0 and _near(seconds, first - 1, first, step):
        begin -= 1
    if end < seconds.size and current_a[end] >= 0 and _near(seconds, last, end, step):
        end += 1
    return _Run(step, seconds[begin:end], current_a[begin:end], voltage_v[begin:end])


def _near(seconds: Floats, one: int, other: int, step: float) -> bool:
    return not step or bool(seconds[other] - seconds[one] <= EDGE_STEPS * step)


def _median_step(seconds: Floats) -> float:
    """Of a few hundred steps: the middle one is the same, and the search costs nothing."""
    every = max(1, seconds.size // 400)
    steps = np.diff(seconds[::every]) / every
    return _middle(steps) if steps.size else 0.0


def _middle(figures: Floats) -> float:
    """The median, of an even count the upper one of the two."""
    half = figures.size // 2
    return float(np.partition(figures, half)[half])


def _discharge(run: _Run, cut_off_v: float, cells: int) -> Discharge:
    """Charge and energy of a run up to its end."""
    pieces = _in_pieces(run)
    cut_off = _cut_off(run.voltage_v, cut_off_v)
    last = _End(run.seconds.size - 2, 1.0)
    knee = _knee(pieces, (cut_off or last).at, cells)
    whole = _charge(run, pieces, cut_off or last)
    to_knee = None if knee is None else _charge(run, pieces, knee)
    end, ended_by, capacity = cut_off or last, "cut_off" if cut_off else "series", whole
    if knee and to_knee is not None and whole - to_knee > KNEE_EARLY_SHARE * whole:
        end, ended_by, capacity = knee, "knee", to_knee
    started_s, ended_s = float(run.seconds[0]), _between(run.seconds, end)
    span_s = ended_s - started_s
    return Discharge(
        capacity_ah=capacity,
        energy_wh=_energy(run, pieces, end),
        mean_a=capacity * _A_HOUR / span_s if span_s > 0 else 0.0,
        started_s=started_s,
        ended_s=ended_s,
        ended_v=_between(run.voltage_v, end),
        ended_by=ended_by,
        to_cut_off_ah=whole if cut_off else None,
        to_knee_ah=to_knee,
        gap_s=_gap(run, pieces.length),
    )


def _in_pieces(run: _Run) -> _Pieces:
    """Sums of the trapezoids of each piece.

    Σ (f_k + f_k+1)(t_k+1 − t_k) up to reading m is Σ f_k (t_k+1 − t_k−1) over the readings before
    it, and f_m (t_m − t_m−1): one product a reading.
    """
    time, amps, volts = run.seconds, run.current_a, run.voltage_v
    steps = time.size - 1
    length = max(2, -(-steps // _PIECES))
    whole, count = steps // length, -(-steps // length)
    flowed = np.empty(steps)
    flowed[0] = time[1] - time[0]
    np.subtract(time[2:], time[:-2], out=flowed[1:])
    flowed *= amps[:-1]
    sums, full = np.empty((2, count)), whole * length
    within, beside = flowed[:full].reshape(whole, length), volts[:full].reshape(whole, length)
    sums[0, :whole], sums[1, :whole] = np.add.reduce(within, axis=1), np.vecdot(within, beside)
    if count > whole:
        sums[:, whole] = flowed[full:].sum(), np.vecdot(flowed[full:], volts[full:-1])
    edges = np.minimum(np.arange(1, count + 1) * length, steps)
    closing = np.stack([amps[edges], amps[edges] * volts[edges]]) * (time[edges] - time[edges - 1])
    twice = np.diff(np.cumsum(sums, axis=1) + closing, axis=1, prepend=0.0)
    looked = min(length, _LOOKED_AT)
    return _Pieces(length, twice[0], twice[1], np.add.reduce(beside[:, :looked], axis=1) / looked)


def _gap(run: _Run, length: int) -> float | None:
    """The longest time without a reading, if it is a gap; looked for where a piece took long."""
    usual = run.step
    edges = run.seconds[::length]
    long = np.flatnonzero(np.diff(edges, append=run.seconds[-1]) > (length + GAP_STEPS / 2) * usual)
    parts = [run.seconds[at * length : (at + 1) * length + 1] for at in long.tolist()]
    longest = max((float(np.diff(part).max(initial=0.0)) for part in parts), default=0.0)
    return longest if longest > GAP_STEPS * usual else None


def _between(figures: Floats, end: _End) -> float:
    return float(figures[end.at] + end.share * (figures[end.at + 1] - figures[end.at]))


def _charge(run: _Run, pieces: _Pieces, end: _End) -> float:
    """Ah up to there; of the last step, the part of the trapezoid before the end."""
    piece = end.at // pieces.length
    part = slice(piece * pieces.length, end.at + 1)
    rest = np.trapezoid(run.current_a[part], run.seconds[part])
    step = float(run.seconds[end.at + 1] - run.seconds[end.at])
    last = float(run.current_a[end.at]) + _between(run.current_a, end)
    whole = float(pieces.twice_as[:piece].sum())
    return (whole + 2 * float(rest) + end.share * step * last) / 2 / _A_HOUR


def _energy(run: _Run, pieces: _Pieces, end: _End) -> float:
    """Wh up to there."""
    piece = end.at // pieces.length
    part = slice(piece * pieces.length, end.at + 1)
    rest = np.trapezoid(run.current_a[part] * run.voltage_v[part], run.seconds[part])
    step = float(run.seconds[end.at + 1] - run.seconds[end.at])
    first = float(run.current_a[end.at] * run.voltage_v[end.at])
    last = _between(run.current_a, end) * _between(run.voltage_v, end)
    whole = float(pieces.twice_ws[:piece].sum())
    return (whole + 2 * float(rest) + end.share * step * (first + last)) / 2 / _A_HOUR


def _cut_off(voltage_v: Floats, cut_off_v: float) -> _End | None:
    """Where the voltage first stays at or below the cut-off; linear between two readings."""
    below = (voltage_v <= cut_off_v).tobytes()
    found = below.find(_TRUE)
    while found >= 0 and not _stays(below, found):
        found = below.find(_TRUE, found + 1)
    if found < 0:
        return None
    if found == 0:
        return _End(0, 0.0)
    high, low = float(voltage_v[found - 1]), float(voltage_v[found])
    return _End(found - 1, (high - cut_off_v) / (high - low) if high > low else 1.0)


def _stays(below: bytes, place: int) -> bool:
    """Whether the readings from there on lie below: a few of them, or all that are left."""
    return set(below[place : place + BELOW_IN_A_ROW]) == {1}


def _knee(pieces: _Pieces, last: int, cells: int) -> _End | None:
    """Where the curve has left the line of its plateau by half a cell, and steepens, for good.

    Looked for among the pieces that end by reading `last`.
    """
    known = min((last + 1) // pieces.length, pieces.volts.size)
    if known < _FEWEST_PIECES:
        return None
    volts, twice = pieces.volts[:known], pieces.twice_as[:known]
    if (twice <= 0).any():
        return None
    charge = np.cumsum(twice) / 2 / _A_HOUR
    slopes = -np.diff(volts) / np.diff(charge)
    first, end = int(_PLATEAU[0] * known), int(_PLATEAU[1] * known)
    plateau = max(_middle(slopes[first:end]), 0.0)
    level = _middle(volts[first - 2 : first + 3])
    off = level - plateau * (charge - charge[first]) - volts
    near = np.flatnonzero(off < KNEE_SHARE * level / cells)
    place = int(near[-1]) + 1 if near.size else 0
    if place >= known or place <= first:
        return None
    if float(slopes[place - 2 : place].max()) < KNEE_STEEP * plateau:
        return None
    return _End(place * pieces.length, 0.0)


def constant_ah(current_a: float, seconds: float) -> float:
    """Capacity of a discharge at one current, Ah: I·t (IEC 61951-2, 7.3)."""
    return current_a * seconds / _A_HOUR


def change_pct(before_ah: float, after_ah: float) -> float:
    """Change of capacity from one cycle to the next, %, without its sign."""
    return abs(after_ah - before_ah) / before_ah * 100


def first_unordered(seconds: Floats) -> int | None:
    """The first reading that stands before the one ahead of it in time, by its place."""
    back = np.flatnonzero(np.diff(seconds) < 0)
    return int(back[0]) + 1 if back.size else None
