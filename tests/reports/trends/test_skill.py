"""Does it foresee? On packs it has not seen, of a fleet that does not follow its model."""

import time

import numpy as np

from reports.trends import fleet, outlook, scores
from reports.trends.fits import Fit
from reports.trends.history import YEAR_DAYS, Floats, PackHistory
from tests.reports.trends.shop_of_packs import START_DAY, Nature, packs

HORIZON_DAYS = 180
LATE = START_DAY + 10_000.0


def foretell(held_out: list[PackHistory], fit: Fit, end: float) -> tuple[Floats, Floats]:
    """Forecasts and outcomes half a year apart, where the outcome is known for certain."""
    told, happened = [], []
    for known in held_out:
        stop = min(known.contact_day, end - HORIZON_DAYS)
        for day in np.arange(known.entry_day + 200.0, stop, HORIZON_DAYS):
            found = outlook.judge(known, fit, as_of_day=float(day))
            told.append(found.failure_probability[HORIZON_DAYS])
            soon = (known.failure_days > day) & (known.failure_days <= day + HORIZON_DAYS)
            happened.append(float(soon.any()))
    return np.array(told), np.array(happened)


def run(growth: float) -> tuple[Floats, Floats]:
    fit = fleet.fit(packs(range(500), Nature(growth=growth)), through_day=LATE)
    nature = Nature(growth=growth, shortest=1.0)
    end = START_DAY + YEAR_DAYS * nature.watch_years
    return foretell(packs(range(10_000, 10_300), nature), fit, end)


def test_it_foresees_better_than_the_base_rate() -> None:
    p, y = run(growth=1.0)
    gained = scores.skill(p, y)
    assert gained is not None
    assert gained > 0.3
    assert scores.calibration_error(p, y) < 0.04


def test_without_growth_it_stays_near_the_base_rate() -> None:
    p, y = run(growth=0.0)
    assert abs(p.mean() - y.mean()) < 0.01
    assert p.max() < 3 * y.mean()


def test_speed() -> None:
    """An outlook within a few milliseconds on any machine; about half of one on a common one."""
    some = packs(range(200), Nature())
    fit = fleet.fit(some, through_day=LATE)
    start = time.perf_counter()
    for known in some:
        outlook.judge(known, fit, as_of_day=known.contact_day)
    assert (time.perf_counter() - start) / len(some) < 0.01
