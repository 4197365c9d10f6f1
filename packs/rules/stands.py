"""Stand: how fast a module that nobody touches loses voltage or charge."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

AFTER_CHARGE_H = 24.0
"""Hours after charge from which readings count: before that the surface charge dies away. Common
practice, no source."""

FEWEST_READINGS = 3
"""Readings without which a slope can not be told from a bad one. Common practice, no source."""

LEAST_SPAN_H = 24.0
"""Hours between the first and the last reading that counts. Common practice, no source."""

EQUAL_C = 2.0
"""Degrees Celsius by which the readings of one stand may differ to count as of one temperature: no
published coefficient of the resting voltage was found to correct with. Common practice, no
source."""

_DAY_H = 24.0


@dataclass(frozen=True)
class Stand:
    """Loss in mV a day (positive: it falls), or None with `why_not` in words.

    `used` readings counted; `error_mv_per_day` is the standard error of the slope, None where three
    equations leave none; `notes` say what was left out or not known.
    """

    mv_per_day: float | None
    error_mv_per_day: float | None
    used: int
    why_not: str | None
    notes: tuple[str, ...]


def slope(hours: Floats, voltage_v: Floats, temperature_c: Floats) -> Stand:
    """The slope of a stand: `hours` after charge, V and °C (NaN: not noted), each of shape (n,).

    A straight line by least squares through the readings from AFTER_CHARGE_H on.
    """
    late = hours >= AFTER_CHARGE_H
    used, notes = int(np.count_nonzero(late)), []
    if used < hours.size:
        notes.append(
            f"{hours.size - used} of {hours.size} readings are of the first "
            f"{AFTER_CHARGE_H:g} h after charge and are not counted."
        )
    if used < FEWEST_READINGS:
        told = (
            f"{used} of at least {FEWEST_READINGS} readings from {AFTER_CHARGE_H:g} h after charge "
            "on; read it again."
        )
        return Stand(None, None, used, told, tuple(notes))
    at, volts, heat = hours[late], voltage_v[late], temperature_c[late]
    why_not = _unequal(at, heat)
    if why_not is not None:
        return Stand(None, None, used, why_not, tuple(notes))
    if np.isnan(heat).any():
        notes.append("Not every reading has its temperature; that they were equal is taken so.")
    days = at / _DAY_H
    gradient, error = _line(days, volts)
    return Stand(
        -1000 * gradient, None if error is None else 1000 * error, used, None, tuple(notes)
    )


def _unequal(hours: Floats, heat: Floats) -> str | None:
    """Why these readings give no slope."""
    span = float(hours.max() - hours.min())
    if span < LEAST_SPAN_H:
        return (
            f"The readings lie within {span:.3g} h; a stand takes {LEAST_SPAN_H:g} h or more from "
            "the first to the last."
        )
    apart = float(np.nanmax(heat) - np.nanmin(heat)) if not np.isnan(heat).all() else 0.0
    if apart > EQUAL_C:
        return (
            f"The temperatures differ by {apart:.3g} °C; readings more than {EQUAL_C:g} °C apart "
            "are not compared. Take them at one temperature."
        )
    return None


def _line(days: Floats, volts: Floats) -> tuple[float, float | None]:
    """Least-squares gradient, V a day, and its standard error."""
    centred = days - days.mean()
    squares = float(centred @ centred)
    gradient = float(centred @ volts) / squares
    left = volts - volts.mean() - gradient * centred
    freedom = days.size - 2
    error = float(np.sqrt(left @ left / freedom / squares)) if freedom > 0 else None
    return gradient, error


def pct_per_day(before_ah: float, after_ah: float, days: float) -> float:
    """Loss of charge, % a day, of one rate over the whole stand: 1 − (after/before)^(1/days)."""
    return float(100 * (1 - (after_ah / before_ah) ** (1 / days)))
