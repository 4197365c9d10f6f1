"""A series as it is kept, as it is told, and thinned out as it is drawn."""

import zlib

import numpy as np
from numpy.typing import NDArray

from packs.rules.module_tests import Curve

Floats = NDArray[np.float64]

DECIMALS = {"seconds": 3, "current_a": 4, "voltage_v": 5}
"""Digits that a kept figure is told with: what a single-precision number holds at the largest time,
current and voltage that a bench meets, and finer than its testers."""

DRAWN_POINTS = 160  # of a curve: more than a phone's width in pixels shows

_KEPT = np.dtype("<f4")


def pack(curve: Curve) -> bytes:
    """Seconds, amperes and volts one after another as little-endian float32, zlib."""
    rows = np.stack([curve.seconds, curve.current_a, curve.voltage_v]).astype(_KEPT)
    return zlib.compress(rows.tobytes())


def unpack(packed: bytes, points: int) -> Curve:
    """The series as it was kept, each column of shape (points,)."""
    rows = np.frombuffer(zlib.decompress(packed), _KEPT).reshape(3, points).astype(np.float64)
    return Curve(
        *(np.round(row, digits) for row, digits in zip(rows, DECIMALS.values(), strict=True))
    )


def thinned(curve: Curve, points: int = DRAWN_POINTS) -> Curve:
    """As many of its points as are drawn at most: first and last, and of each stretch between
    its lowest and highest voltage, so that the end at a cut-off is not lost."""
    if curve.seconds.size <= points:
        return curve
    stretches = np.array_split(np.arange(1, curve.seconds.size - 1), (points - 2) // 2)
    volts = curve.voltage_v
    ends = [at[pick(volts[at])] for at in stretches for pick in (np.argmin, np.argmax)]
    kept = np.unique([0, *ends, curve.seconds.size - 1])
    return Curve(curve.seconds[kept], curve.current_a[kept], curve.voltage_v[kept])


def drawn_ah(curve: Curve) -> Floats:
    """Charge taken out up to each point, Ah, shape (n,): what went in is not taken off."""
    out = np.maximum(curve.current_a, 0.0)
    steps = np.diff(curve.seconds) * (out[1:] + out[:-1]) / 2 / 3600
    return np.concatenate([[0.0], np.cumsum(steps)])
