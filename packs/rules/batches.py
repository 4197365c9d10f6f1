"""Many checks at once, by column: which of them are beyond doubt, and what those say.

Only ever says yes. What is not beyond doubt here is judged one by one by the rules themselves
(`plausible`, `spread`), which alone know what is wrong and how to tell it.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from packs.rules.plausible import (
    CELL_LIMITS_V,
    CELL_STEP_V,
    LOW_CELL_V,
    MIN_READABLE,
    NORMAL_SHARE,
)
from packs.rules.voltages import MISSING, UNITS_PER_V, to_volts

Units = NDArray[np.int32]
Cells = NDArray[np.int64]
Floats = NDArray[np.float64]
Truths = NDArray[np.bool_]

HALVES_PER_V = 2 * UNITS_PER_V  # a median lies on a stored unit, or half-way between two
EDGE_V = 1 / UNITS_PER_V  # what lies this near to a limit is judged one by one


@dataclass(frozen=True)
class Summaries:
    """`spread.summarise` of many checks: shape (n,) each; `weakest` 0 where none is."""

    spread_v: NDArray[np.float64]
    median_v: NDArray[np.float64]
    weakest: NDArray[np.int64]
    weakest_deviation_v: NDArray[np.float64]


def beyond_doubt(units: Units, cells: Cells, chemistry: str, cell_nominal_v: float) -> Truths:
    """Which checks are neither impossible nor strange at any position, shape (n,).

    `units` (n, p), 0.1 mV; `cells` in series (p,), of equal number at every position: where
    they differ none is beyond doubt. By the limits of `plausible`; raises KeyError for an
    unknown chemistry.
    """
    count, positions = units.shape
    if positions < MIN_READABLE or not (cells == cells[0]).all():
        return np.zeros(count, dtype=np.bool_)
    each = int(cells[0])
    lowest_v, highest_v = CELL_LIMITS_V[chemistry]
    low_v = to_volts(units.min(axis=1))
    high_v = to_volts(units.max(axis=1))
    middle_v = _twice_medians(units) / HALVES_PER_V
    good: Truths = (
        (units != MISSING).all(axis=1)
        & (low_v >= max(lowest_v, LOW_CELL_V[chemistry]) * each + EDGE_V)
        & (high_v <= highest_v * each - EDGE_V)
        & (middle_v - low_v <= CELL_STEP_V[chemistry][0] - EDGE_V)
        & _as_a_whole(low_v, high_v, each, cell_nominal_v)
    )
    return good


def _as_a_whole(low_v: Floats, high_v: Floats, each: int, cell_nominal_v: float) -> Truths:
    """Which sets can't be a cell's voltages given for a block's, or wrong by a factor."""
    above: Truths = low_v >= NORMAL_SHARE[1] * cell_nominal_v + EDGE_V
    if each > 1:
        return above
    low, high = (share * cell_nominal_v for share in NORMAL_SHARE)
    normal: Truths = (low_v >= low + EDGE_V) & (high_v <= high - EDGE_V)
    return above | normal


def summarise(units: Units) -> Summaries:
    """Range, median and weakest of checks that were read at every position, shape (n, p).

    In whole units, so that each figure is the nearest double to what it stands for.
    """
    low, high = units.min(axis=1).astype(np.int64), units.max(axis=1).astype(np.int64)
    twice = _twice_medians(units)
    below = twice - 2 * low
    return Summaries(
        spread_v=(high - low) / UNITS_PER_V,
        median_v=twice / HALVES_PER_V,
        weakest=np.where(below > 0, units.argmin(axis=1) + 1, 0),
        weakest_deviation_v=below / HALVES_PER_V,
    )


def _twice_medians(units: Units) -> NDArray[np.int64]:
    ordered = np.sort(units, axis=1).astype(np.int64)
    positions = units.shape[1]
    twice: NDArray[np.int64] = ordered[:, (positions - 1) // 2] + ordered[:, positions // 2]
    return twice
