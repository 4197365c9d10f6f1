"""What a repair would do, by what must be the same."""

from dataclasses import replace

import numpy as np
import pytest

from reports.trends import failures, repairs
from reports.trends.fits import PRIOR, growth_table
from reports.trends.fleet import routes_of
from reports.trends.history import Bools, PackHistory
from reports.trends.outlook import judge
from reports.trends.repairs import After
from tests.reports.trends.histories import ENTRY, POSITIONS, history

QUARTERS = [90.0 * k for k in range(6)]
DRIFTING = [0.20, 0.25, 0.31, 0.37, 0.44, 0.52]
HORIZONS = failures.HORIZONS_DAYS


def some(*positions: int) -> Bools:
    """True at these positions, from 1."""
    return np.isin(np.arange(1, POSITIONS + 1), positions)


def two_low(second: float = 0.6) -> PackHistory:
    """Position 2 makes the spread; position 4 is low by a share of it."""
    known = history(QUARTERS, DRIFTING)
    known.deviation_v[:, 3] = second * known.spread_v
    return known


def after(known: PackHistory, renewed: Bools, **said: float) -> After:
    said = {"as_of_day": ENTRY + 450.0, "warranty_days": 365.25, **said}
    return repairs.after(known, PRIOR, renewed=renewed, **said)


@pytest.mark.parametrize(
    "known",
    [
        history([], []),
        history([5], [0.3]),
        history(QUARTERS, DRIFTING),
        history(QUARTERS, DRIFTING, renewals=[(100.0, [3])]),
        history(QUARTERS, [0.11, 0.12, 0.11, 0.12, 0.11, 0.12]),
    ],
)
def test_replacing_nothing_is_the_outlook_as_it_is(known: PackHistory) -> None:
    told = judge(known, PRIOR, as_of_day=ENTRY + 450.0)
    found = after(known, some(), warranty_days=365.0)
    assert found.failure_probability == told.failure_probability
    assert found.within_warranty == pytest.approx(told.failure_probability[365], rel=1e-6)


def test_a_fresh_rebuild_is_the_start_of_the_fleet() -> None:
    group = PRIOR.group("FIVE/load/block")
    route = routes_of(np.zeros((1, 10)), np.zeros(1), growth_table([group]))
    start = failures.probability(PRIOR.link, group.factor, [route])[0]
    for known in (two_low(), history([], []), history(QUARTERS, DRIFTING)):
        found = after(known, some(1, 2, 3, 4, 5))
        assert list(found.failure_probability.values()) == pytest.approx(list(start), rel=1e-5)
        assert found.older_checks is None


def test_the_worst_position_that_stays_keeps_its_trend() -> None:
    known = two_low(0.95)
    as_is, one = after(known, some()), after(known, some(2))
    both, whole = after(known, some(2, 4)), after(known, some(1, 2, 3, 4, 5))
    assert one.failure_probability[365] < as_is.failure_probability[365]
    assert both.failure_probability[365] < one.failure_probability[365]
    assert whole.failure_probability[365] <= both.failure_probability[365]
    assert one.older_checks == len(QUARTERS)


def test_a_position_left_worse_is_worse_after_the_repair() -> None:
    chances = [after(two_low(share), some(2)).failure_probability[365] for share in (0.3, 0.6, 0.9)]
    assert chances == sorted(chances)
    assert chances[0] < chances[-1]


@pytest.mark.parametrize("renewed", [some(), some(2), some(2, 4), some(1, 2, 3, 4, 5)])
def test_a_higher_limit_never_looks_worse(renewed: Bools) -> None:
    told = [
        after(replace(two_low(), limit_v=limit), renewed, start_v=0.35).failure_probability[365]
        for limit in (0.8, 1.0, 1.4, 2.0)
    ]
    assert told == sorted(told, reverse=True)


def test_modules_that_differ_from_their_mates_start_higher() -> None:
    known = two_low()
    start = [after(known, some(2), start_v=v).failure_probability[180] for v in (0.02, 0.4, 0.8)]
    assert start[0] == after(known, some(2)).failure_probability[180]
    assert start[0] < start[1] < start[2]


def test_chances_grow_with_the_time_that_is_looked_ahead() -> None:
    for renewed in (some(), some(2), some(1, 2, 3, 4, 5)):
        days = [10.0, 30.0, 31.0, 90.0, 200.0, 365.0, 366.0, 730.0, 1826.0]
        told = [after(two_low(), renewed, warranty_days=each).within_warranty for each in days]
        assert told == sorted(told)
        assert all(0.0 < chance < 1.0 for chance in told)


def test_any_number_of_days_agrees_with_the_horizons() -> None:
    route = routes_of(np.zeros((1, 10)), np.zeros(1), growth_table([PRIOR.fleet]))
    chance = failures.probability(PRIOR.link, 1.3, [route])[0]
    for days, told in zip(HORIZONS, chance, strict=True):
        assert repairs.within_days(PRIOR.link, 1.3, [route], float(days)) == pytest.approx(told)


def test_a_steady_rate_is_told_for_two_years() -> None:
    found = after(history([], []), some(), warranty_days=730.5)
    rate = PRIOR.fleet.failures_per_year
    assert found.within_warranty == pytest.approx(1.0 - np.exp(-2.0 * rate), rel=1e-5)
