import numpy as np
import pytest

from packs.rules import stands

NAN = float("nan")


def stood(days: list[float], mv_per_day: float, heat_c: list[float] | None = None) -> stands.Stand:
    hours = np.array(days) * 24
    volts = 8.1 - mv_per_day / 1000 * np.array(days)
    heat = np.full(len(days), 21.0) if heat_c is None else np.array(heat_c)
    return stands.slope(hours, volts, heat)


def test_a_straight_loss_is_its_slope() -> None:
    """An identity."""
    told = stood([1, 3, 5, 8], 12.5)
    assert told.mv_per_day == pytest.approx(12.5)
    assert told.error_mv_per_day == pytest.approx(0, abs=1e-6)
    assert (told.used, told.why_not, told.notes) == (4, None, ())


def test_the_first_day_after_charge_is_not_counted() -> None:
    hours = np.array([1.0, 12, 24, 72, 168])
    volts = 8.0 - 0.010 * hours / 24 + np.array([0.3, 0.1, 0, 0, 0])
    told = stands.slope(hours, volts, np.full(5, 20.0))
    assert told.mv_per_day == pytest.approx(10)
    assert told.used == 3
    assert "2 of 5 readings" in told.notes[0]


def test_what_gives_no_slope_says_why() -> None:
    few = stood([0.2, 1, 3], 10)
    assert few.mv_per_day is None
    assert "2 of at least 3" in str(few.why_not)
    short = stood([1, 1.2, 1.5], 10)
    assert "within 12 h" in str(short.why_not)
    warm = stood([1, 3, 5], 10, [18, 21, 24.5])
    assert warm.mv_per_day is None
    assert "6.5 °C" in str(warm.why_not)


def test_temperatures_that_nobody_noted_are_told() -> None:
    told = stood([1, 3, 5], 10, [NAN, 21, NAN])
    assert told.mv_per_day == pytest.approx(10)
    assert "not every reading" in told.notes[0].lower()
    assert stood([1, 3, 5], 10, [NAN, NAN, NAN]).mv_per_day == pytest.approx(10)


def test_charge_retention_of_28_days() -> None:
    """60 % left after 28 days is 1.8078 % a day (IEC 61951-2, charge retention; derived)."""
    assert stands.pct_per_day(6.5, 6.5 * 0.60, 28) == pytest.approx(1.8078, abs=5e-5)
