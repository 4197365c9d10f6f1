"""Which part is it: a sense lead, a joint, a lost cell or a slow module.

Voltages of one go, under load and at rest, look different for each, and the module is blamed
last. Each finding says what would settle it, for a voltage alone seldom does.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from packs.rules.noise import medians
from packs.rules.plausible import ZERO_V, cells_short

Floats = NDArray[np.float64]
Kind = Literal["sense_lead", "joint", "lost_cell", "slow_module", "reversed"]

METER_NOISE_V = 0.02
"""Standard deviation of one reading of a block through the car's monitor, V.
Common practice, no source."""

SURE_Z = 5.0
"""Standard deviations off the median before a position is told. Common practice, no source."""

SMALL_SET = 5
"""A set of p positions needs SURE_Z·(1 + SMALL_SET/p): few positions say little about their own
scatter. Chosen so that fewer than 1 in 100 healthy checks give a finding, by simulation."""

LEAST_V = 0.05
"""Least distance off the median that is told, V. Common practice, no source."""

LEAST_CELL_V = 0.01
"""The same for each cell in series, V. Common practice, no source."""

EQUAL_SHARE = 0.15
"""How far two neighbours' errors may differ, as a share of the larger, and still count as one
shared lead's. Common practice, no source."""

REST_SHARE = 0.15
"""Share of the distance under load that must be there at rest for a position to be low at rest
too. Common practice, no source."""

_SAME_Z = 3.0
_MAD_TO_SD = 1.4826


@dataclass(frozen=True)
class Finding:
    """One part under suspicion: kind, positions (from 1), why, and what would settle it."""

    kind: Kind
    positions: tuple[int, ...]
    why: str
    settle: str


@dataclass(frozen=True)
class _Set:
    """Voltages of one check against the median of the mates: all V, shape (p,) but sigma_v."""

    volts: Floats
    below_v: Floats
    least_v: Floats
    sigma_v: float


@dataclass(frozen=True)
class _Go:
    """The checks of one go, rest ∅, with the cells in series at each position, (p,)."""

    load: _Set
    load_current_a: float
    rest: _Set | None
    cells: NDArray[np.int64]
    chemistry: str


def which_part(
    load_v: Floats,
    load_current_a: float,
    rest_v: Floats | None,
    cells: NDArray[np.int64],
    chemistry: str,
    noise_v: float = METER_NOISE_V,
) -> list[Finding]:
    """What the load check, and the rest check of the same go where there is one, point at.

    `load_v`, `rest_v` (p,) V, NaN unreadable, in order from the positive end; `cells` in series
    (p,); `noise_v` s.d. of one reading, V. Returns findings in order of position, each position in
    one at most; a position that can not be read is in none. KeyError: unknown chemistry.
    The patterns are identities of a series string; their limits are common practice, no source.
    """
    rest = None if rest_v is None else _against_mates(rest_v, cells, noise_v)
    load = _against_mates(load_v, cells, noise_v)
    go = _Go(load, load_current_a, rest, cells, chemistry)
    found: list[Finding] = []
    for look in _LOOKS:
        blamed = {position - 1 for finding in found for position in finding.positions}
        found.extend(look(go, blamed))
    return sorted(found, key=lambda finding: finding.positions)


def _against_mates(volts: Floats, cells: NDArray[np.int64], noise_v: float) -> _Set:
    below = medians(volts / cells) * cells - volts
    sigma = float(np.fmax(noise_v, _MAD_TO_SD * medians(np.abs(below - medians(below)))))
    sure = SURE_Z * (1 + SMALL_SET / volts.size) * sigma
    return _Set(volts, below, np.maximum(sure, np.maximum(LEAST_V, LEAST_CELL_V * cells)), sigma)


def _reversed(go: _Go, blamed: set[int]) -> Iterable[Finding]:
    for at in np.flatnonzero(go.load.volts < -ZERO_V).tolist():
        yield Finding(
            "reversed",
            (at + 1,),
            f"{go.load.volts[at]:.2f} V under load: it stands the wrong way round, its leads are "
            "crossed, or its cells are driven backwards",
            "measure it at rest at its own terminals: a part driven backwards comes back above "
            "0 V, one that stands the wrong way round does not",
        )


def _sense_leads(go: _Go, blamed: set[int]) -> Iterable[Finding]:
    below, told = go.load.below_v, set(blamed)
    for at in range(below.size - 1):
        if not told & {at, at + 1} and _shares_error(go.load, at):
            told |= {at, at + 1}
            yield _shared_lead(go, at)


def _shares_error(checked: _Set, at: int) -> bool:
    """Whether a position and the next are off by the same amount, one low and one high."""
    pair = checked.below_v[at : at + 2]
    far = np.abs(pair)
    if not (far > checked.least_v[at : at + 2]).all() or pair[0] * pair[1] > 0:
        return False
    room = max(_SAME_Z * np.sqrt(2) * checked.sigma_v, EQUAL_SHARE * float(far.max()))
    return bool(abs(pair.sum()) <= room)


def _shared_lead(go: _Go, at: int) -> Finding:
    volts, below = go.load.volts[at : at + 2], go.load.below_v[at : at + 2]
    at_rest = go.rest is not None and _shares_error(go.rest, at)
    when = ", at rest as well" if at_rest else ""
    return Finding(
        "sense_lead",
        (at + 1, at + 2),
        f"neighbours off by the same amount, {volts[0]:.2f} and {volts[1]:.2f} V{when}: together "
        f"{volts.sum():.2f} V, and their mates would give {volts.sum() + below.sum():.2f} V; the "
        "lead they share reads wrong, not the parts",
        f"measure both at their own terminals; clean and tighten the sense lead between positions "
        f"{at + 1} and {at + 2}, and look whether both come back",
    )


def _dead_leads(go: _Go, blamed: set[int]) -> Iterable[Finding]:
    for at in np.flatnonzero(np.abs(go.load.volts) <= ZERO_V).tolist():
        if at not in blamed:
            yield Finding(
                "sense_lead",
                (at + 1,),
                "0 V while its mates read: its sense lead is off, or as much of it stands the "
                "wrong way round as the right way",
                "measure it at its own terminals, and each module in it by itself",
            )


def _lost_cells(go: _Go, blamed: set[int]) -> Iterable[Finding]:
    step = go.load if go.rest is None else go.rest
    for at in _low(go, blamed):
        count = cells_short(float(step.below_v[at]), int(go.cells[at]), go.chemistry)
        if count and step.below_v[at] > step.least_v[at]:
            yield _lost_cell(go, at, count)


def _low(go: _Go, blamed: set[int]) -> list[int]:
    low = np.flatnonzero(go.load.below_v > go.load.least_v)
    return [at for at in low.tolist() if at not in blamed]


def _lost_cell(go: _Go, at: int, count: int) -> Finding:
    lost = "one cell" if count == 1 else f"{count} cells"
    return Finding(
        "lost_cell",
        (at + 1,),
        f"{_told_low(go, at)}: the step of {lost}, not a growth",
        "look at its earlier checks for the day it fell; a rest check or a stand shows the same "
        "step, and module by module it is in one",
    )


def _told_low(go: _Go, at: int) -> str:
    told = f"low by {go.load.below_v[at]:.2f} V at {go.load_current_a:g} A"
    return told if go.rest is None else f"{told} and by {go.rest.below_v[at]:.2f} V at rest"


def _joints(go: _Go, blamed: set[int]) -> Iterable[Finding]:
    if go.rest is None:
        return
    loose = [at for at in _low(go, blamed) if _gone_at_rest(go.load, go.rest, at)]
    while loose:
        take = 2 if loose[1:2] == [loose[0] + 1] else 1
        yield _joint(go, go.rest, loose[:take])
        del loose[:take]


def _gone_at_rest(load: _Set, rest: _Set, at: int) -> bool:
    room = max(_SAME_Z * rest.sigma_v, REST_SHARE * float(load.below_v[at]))
    return bool(rest.below_v[at] <= room)


def _joint(go: _Go, rest: _Set, places: list[int]) -> Finding:
    lost_v = float((go.load.below_v - rest.below_v)[places].sum())
    told = "; ".join(_told_low(go, at) for at in places)
    return Finding(
        "joint",
        tuple(at + 1 for at in places),
        f"{told}: it comes with the current and is gone at rest, like a joint of about "
        f"{lost_v / go.load_current_a * 1000:.1f} mΩ too much",
        "measure the drop across each bus bar joint there under load; where there is none, the "
        "resistance is inside a module: compare them on the bench",
    )


def _slow_modules(go: _Go, blamed: set[int]) -> Iterable[Finding]:
    expected = float(np.nansum(go.load.volts + go.load.below_v))
    for at in _low(go, blamed):
        sums = f"the set sums to {np.nansum(go.load.volts):.2f} V, {expected:.2f} V at the median"
        yield Finding("slow_module", (at + 1,), f"{_told_low(go, at)}; {sums}", _settle_slow(go))


def _settle_slow(go: _Go) -> str:
    if go.rest is None:
        return "a rest check of the same go: low at rest too is a module, gone at rest is a joint"
    return (
        "charge it equal to its mates and check again; then capacity, resistance and a week's "
        "stand of its modules on the bench"
    )


_LOOKS: tuple[Callable[[_Go, set[int]], Iterable[Finding]], ...] = (
    _reversed,
    _sense_leads,
    _dead_leads,
    _lost_cells,
    _joints,
    _slow_modules,
)
