"""Voltages as they are stored: whole tenths of a millivolt in 32-bit integers."""

from collections import defaultdict
from collections.abc import Sequence
from typing import cast

import numpy as np
from numpy.typing import NDArray

UNIT_V = 1e-4
"""What one stored unit is worth, V: ten times finer than the 1 mV of a good workshop meter.
Common practice, no source."""

UNITS_PER_V = 10_000
"""Volts come back by dividing by this, which is exactly rounded; multiplying by UNIT_V is not."""

MISSING = -(2**31)
"""Stored where a position could not be read."""

_LARGEST = 2**31 - 1


def to_units(voltages_v: Sequence[float | None] | NDArray[np.float64]) -> NDArray[np.int32]:
    """Stored units of volts, shape (..., p) as given; None and NaN become MISSING.

    Rounded half to even. Raises ValueError for a voltage too large to be stored (over 214 kV).
    """
    volts = np.array(voltages_v, dtype=np.float64)
    scaled = np.rint(volts * UNITS_PER_V)
    unread = np.isnan(scaled)
    scaled[unread] = MISSING
    if (np.abs(scaled[~unread]) > _LARGEST).any():
        raise ValueError("A voltage is over 214 kV and cannot be stored.")
    return scaled.astype(np.int32)


def to_units_each(
    sets: Sequence[Sequence[float | None] | NDArray[np.int32]],
) -> list[NDArray[np.int32]]:
    """Stored units of many sets of volts, each of its own length; arrays are such units already."""
    found = list(sets)
    alike = defaultdict(list)
    for place, volts in enumerate(found):
        if not isinstance(volts, np.ndarray):
            alike[len(volts)].append(place)
    for places in alike.values():
        block = to_units(np.array([found[place] for place in places], dtype=np.float64))
        for place, units in zip(places, block, strict=True):
            found[place] = units
    return cast(list[NDArray[np.int32]], found)


def to_volts(units: NDArray[np.int32]) -> NDArray[np.float64]:
    """Volts of stored units, same shape, NaN where MISSING; the nearest double to each figure."""
    volts = units / UNITS_PER_V
    volts[units == MISSING] = np.nan
    return volts


def as_json(units: NDArray[np.int32]) -> list[float | None]:
    """Volts of stored units, shape (p,), as a list with None where MISSING."""
    return [None if unit == MISSING else unit / UNITS_PER_V for unit in units.tolist()]
