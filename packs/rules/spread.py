"""Spread of one check: its range, its median and its weakest position.

With it stands all that makes one spread comparable with another: the reference, the rest pair
and the floor of noise.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from packs.rules.noise import d2, medians, noise_floor, ranges, robust_z
from packs.rules.pairing import PAIR_WITHIN_S, pair
from packs.rules.reference import (
    ACTIVATION_EV,
    COMPARABLE_CURRENT,
    MAX_STEP,
    Comparable,
    at_reference,
    at_reference_many,
    resistance_factor,
)

__all__ = [
    "ACTIVATION_EV",
    "COMPARABLE_CURRENT",
    "MAX_STEP",
    "PAIR_WITHIN_S",
    "Comparable",
    "Summary",
    "at_reference",
    "at_reference_many",
    "d2",
    "medians",
    "noise_floor",
    "pair",
    "ranges",
    "resistance_factor",
    "robust_z",
    "summarise",
]

Floats = NDArray[np.float64]

_DUST = 9
"""Decimals kept of a difference in volts, so that binary rounding is not told as a figure."""


@dataclass(frozen=True)
class Summary:
    """What one check says by itself: range and median in V, the position (from 1) furthest
    below the median and by how much, V. No position is weakest where none is below."""

    spread_v: float
    median_v: float
    weakest_position: int | None
    weakest_deviation_v: float


def summarise(voltages_v: Floats) -> Summary:
    """Range, median and weakest of one rest or load check, shape (p,), V, NaN unreadable.

    With nothing readable the figures are NaN and no position is weakest.
    """
    ordered = np.sort(voltages_v)
    count = int(np.count_nonzero(~np.isnan(ordered)))
    if count == 0:
        return Summary(math.nan, math.nan, None, math.nan)
    lowest, highest = float(ordered[0]), float(ordered[count - 1])
    median = (float(ordered[(count - 1) // 2]) + float(ordered[count // 2])) / 2
    below = round(median - lowest, _DUST)
    weakest = int(np.flatnonzero(voltages_v == lowest)[0]) + 1 if below > 0 else None
    return Summary(round(highest - lowest, _DUST), round(median, _DUST), weakest, below)
