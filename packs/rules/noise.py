"""Medians, ranges and what meter noise alone makes of them. NaN is left out throughout."""

import math
from functools import cache

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_MAD_TO_SIGMA = 0.6745
"""Third quartile of the standard normal: turns a median absolute deviation into a z
(NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17)."""


def medians(voltages_v: Floats) -> Floats:
    """Median over the last axis, NaN left out: shape (..., p) to (...). NaN where none is left."""
    ordered = np.sort(voltages_v, axis=-1)
    count = np.count_nonzero(~np.isnan(ordered), axis=-1)
    low = np.take_along_axis(ordered, np.expand_dims((count - 1) // 2, -1), axis=-1)
    high = np.take_along_axis(ordered, np.expand_dims(count // 2, -1), axis=-1)
    middle: Floats = ((low + high) / 2)[..., 0]
    return middle


def ranges(voltages_v: Floats) -> Floats:
    """Max − min over the last axis, V, NaN left out: shape (..., p) to (...). The rest spread."""
    spread: Floats = np.fmax.reduce(voltages_v, axis=-1) - np.fmin.reduce(voltages_v, axis=-1)
    return spread


@cache
def d2(n: int) -> float:
    """Expected range of `n` independent standard normal figures (control-chart factor d2).

    ∫ 1 − Φ(x)ⁿ − (1 − Φ(x))ⁿ dx (Tippett 1925), by the trapezoidal rule. ValueError under 1.
    """
    if n < 1:
        raise ValueError("A range needs at least one figure.")
    x = np.linspace(-9.0, 9.0, 3601)
    below = np.array([math.erfc(-value / math.sqrt(2)) / 2 for value in x.tolist()])
    return float(np.trapezoid(1 - below**n - below[::-1] ** n, x))


def noise_floor(n: int, sigma_v: float) -> float:
    """Spread, V, that `n` equal positions show by meter noise alone (s.d. `sigma_v`, V)."""
    return d2(n) * sigma_v


def robust_z(deviations: Floats) -> Floats:
    """0.6745·(x − median)/MAD over the last axis, NaN left out and kept; same shape.

    Where the MAD is 0 (most positions equal) a figure off the median has z ±inf, one on it 0.
    Source: Iglewicz and Hoaglin, in NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17.
    """
    distance = deviations - medians(deviations)[..., None]
    mad = medians(np.abs(distance))[..., None]
    with np.errstate(divide="ignore", invalid="ignore"):
        z = _MAD_TO_SIGMA * distance / mad
    return np.where(distance == 0, 0.0, z)
