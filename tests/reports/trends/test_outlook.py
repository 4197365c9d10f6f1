"""The outlook of single packs."""

import numpy as np
import pytest

from reports.trends import outlook
from reports.trends.fits import PRIOR
from reports.trends.history import PackHistory
from reports.trends.outlook import Figures, judge
from tests.reports.trends.histories import ALL, ENTRY, history

QUARTERS = [90.0 * k for k in range(6)]


def told(known: PackHistory, day: float) -> Figures:
    return judge(known, PRIOR, as_of_day=ENTRY + day)


def test_without_checks_there_is_still_a_probability() -> None:
    found = told(history([], []), 10)
    assert found.level == "too_little_data"
    assert found.failure_probability[365] == pytest.approx(0.0768, abs=0.001)
    assert (found.spread_now_v, found.growth_per_year, found.limit_reached_days) == (None,) * 3
    assert found.checks_used == 0


def test_one_check_is_told_but_is_no_trend() -> None:
    found = told(history([5], [0.3]), 10)
    assert (found.level, found.checks_used, found.spread_now_v) == ("too_little_data", 1, 0.3)
    assert found.weakest_position == 2
    assert found.failure_probability == told(history([], []), 10).failure_probability


@pytest.mark.parametrize(
    ("spread_v", "level"),
    [
        ([0.11, 0.12, 0.11, 0.12, 0.11, 0.12], "settled"),
        ([0.20, 0.25, 0.31, 0.37, 0.44, 0.52], "drifting"),
        ([0.30, 0.38, 0.47, 0.58, 0.72, 0.85], "near_limit"),
        ([0.40, 0.52, 0.68, 0.85, 0.98, 1.10], "over_limit"),
    ],
)
def test_levels(spread_v: list[float], level: str) -> None:
    found = told(history(QUARTERS, spread_v), 450)
    assert found.level == level
    assert found.checks_used == 6
    assert found.spread_now_v == pytest.approx(spread_v[-1], rel=0.2)


def test_one_check_over_the_limit_is_said_to_be() -> None:
    found = told(history([5], [1.3]), 10)
    assert found.level == "too_little_data"
    assert "That is over the limit." in found.reasons


def test_a_higher_spread_never_looks_better() -> None:
    low = told(history([0, 90, 180, 270], [0.2, 0.25, 0.3, 0.35]), 270).failure_probability
    high = told(history([0, 90, 180, 270], [0.5, 0.6, 0.7, 0.8]), 270).failure_probability
    assert all(low[days] < high[days] for days in (30, 90, 180, 365))


def test_an_over_limit_pack_tells_the_day_it_crossed() -> None:
    found = told(history([0, 100, 200], [0.5, 0.8, 1.2]), 250)
    assert found.limit_reached_days == (ENTRY + 150.0,) * 3


def test_days_of_the_limit_are_in_order_and_ahead() -> None:
    found = told(history(QUARTERS, [0.3, 0.38, 0.47, 0.58, 0.7, 0.8]), 450)
    assert found.limit_reached_days is not None
    low, middle, high = found.limit_reached_days
    assert low is not None
    assert middle is not None
    assert ENTRY + 450 < low < middle
    assert high is None or high > middle


def test_a_full_renewal_starts_afresh() -> None:
    days, spread = [0.0, 90.0, 180.0, 270.0, 300.0, 390.0], [0.4, 0.6, 0.8, 1.0, 0.1, 0.1]
    found = told(history(days, spread, renewals=[(290, ALL)]), 390)
    assert (found.level, found.checks_used, found.since_day) == ("settled", 2, ENTRY + 290)
    assert told(history(days, spread, renewals=[(290, ALL)]), 295).level == "too_little_data"


def test_a_partial_change_that_leaves_a_drifting_neighbour_is_not_new() -> None:
    """Position 2 is renewed. Position 4 went on growing; in the other pack it never did."""
    days, spread = [0.0, 90.0, 180.0, 270.0, 300.0, 390.0], [0.6, 0.7, 0.8, 0.9, 0.5, 0.6]
    deviation = np.zeros((6, 5))
    deviation[:, 1] = [0.6, 0.7, 0.8, 0.9, 0.0, 0.0]
    deviation[:, 3] = [0.12, 0.18, 0.26, 0.38, 0.50, 0.60]
    partial = told(history(days, spread, deviation_v=deviation, renewals=[(290, [2])]), 390)
    whole = told(history(days, spread, deviation_v=deviation, renewals=[(290, ALL)]), 390)
    assert partial.failure_probability[365] > whole.failure_probability[365]
    assert any("4 was not renewed" in reason for reason in partial.reasons)


def test_only_what_was_known_by_the_day_counts_and_it_repeats_exactly() -> None:
    whole = history([0, 90, 180, 270], [0.2, 0.3, 0.4, 1.5], renewals=[(275, ALL)])
    short = history([0, 90, 180], [0.2, 0.3, 0.4])
    assert told(whole, 200) == told(short, 200)
    assert told(whole, 200) == told(whole, 200)


def test_what_is_unknown_is_told() -> None:
    known = history([0, 90, 180], [0.02, 0.03, 0.02], temperature_c=np.nan)
    reasons = " ".join(told(known, 180).reasons)
    assert "temperature is unknown at every check" in reasons
    assert "which the meter alone would show" in reasons


def test_checks_of_one_moment_and_no_spread_at_all_do_no_harm() -> None:
    for known in (history([5, 5, 5], [0.3, 0.31, 0.3]), history([5, 6], [0.0, 0.0])):
        found = told(known, 3000)
        assert found.growth_per_year is not None
        assert abs(found.growth_per_year) <= outlook.MOST_GROWTH
        assert 0 < found.failure_probability[30] <= found.failure_probability[365] < 1


def test_significant() -> None:
    assert outlook.significant(0.123456789) == 0.123457
    assert outlook.significant(123456789.0) == 123457000.0
    assert outlook.significant(0.0) == 0.0
