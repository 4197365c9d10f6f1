import numpy as np
import pytest
from numpy.typing import NDArray

from packs.rules.spread import ranges, summarise

Floats = NDArray[np.float64]


def test_range_median_and_weakest() -> None:
    summary = summarise(np.array([16.0, 15.7, 16.1, 16.05]))
    assert (summary.spread_v, summary.median_v) == (0.4, 16.025)
    assert (summary.weakest_position, summary.weakest_deviation_v) == (2, 0.325)


def test_what_was_not_read_is_left_out() -> None:
    summary = summarise(np.array([np.nan, 8.0, 7.9, np.nan, 7.95]))
    assert (summary.spread_v, summary.median_v, summary.weakest_position) == (0.1, 7.95, 3)


def test_of_two_as_weak_the_first_is_named() -> None:
    assert summarise(np.array([8.0, 7.9, 8.0, 7.9, 8.0])).weakest_position == 2


def test_equal_positions_have_no_weakest() -> None:
    summary = summarise(np.full(5, 8.0))
    assert (summary.spread_v, summary.weakest_position, summary.weakest_deviation_v) == (0, None, 0)


def test_nothing_readable_gives_no_figures() -> None:
    summary = summarise(np.full(4, np.nan))
    assert np.isnan([summary.spread_v, summary.median_v, summary.weakest_deviation_v]).all()
    assert summary.weakest_position is None


def test_ranges_of_many_agree_with_each() -> None:
    checks = np.random.default_rng(3).normal(8.0, 0.1, (20, 28))
    checks[3, 4] = checks[7, :20] = np.nan
    each = [summarise(check).spread_v for check in checks]
    assert ranges(checks) == pytest.approx(np.array(each), abs=1e-9)
