"""Blocks of unequal size, made comparable."""

import numpy as np
from numpy.typing import NDArray

from packs.rules.noise import medians

Floats = NDArray[np.float64]


def as_equal(voltages_v: Floats, cells: NDArray[np.int64]) -> Floats:
    """Voltages as if every position had the same number of cells in series, V.

    `voltages_v` (..., p), NaN unreadable; `cells` (p,). What a position has more or fewer than
    the middle one is taken off or added at the median cell's voltage, so that a cell that is low
    stays as many volts low. Where all are equal the voltages come back as they are. An identity
    of a series string, no source.
    """
    if (cells == cells[0]).all():
        return voltages_v
    beside = cells - np.median(cells)
    per_cell = medians(np.atleast_2d(voltages_v / cells)).reshape((*voltages_v.shape[:-1], 1))
    leveled: Floats = voltages_v - beside * per_cell
    return leveled
