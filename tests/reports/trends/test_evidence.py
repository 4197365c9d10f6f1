"""Rows, their sums, and the position that a partial change leaves behind."""

import numpy as np
import pytest

from packs.rules.noise import noise_floor
from reports.trends import evidence
from tests.reports.trends.histories import ALL, ENTRY, history


def test_the_floor_is_that_of_noise_alone() -> None:
    """d2(5) = 2.325929 (control-chart tables), at the smaller of the two assumed noises."""
    assert evidence.floor_v(history([], [])) == pytest.approx(2.325929 * 0.02, abs=1e-6)
    small = history([], [], limit_v=0.1)
    assert evidence.floor_v(small) == pytest.approx(noise_floor(5, 0.002))


def test_the_limit_is_nought_and_the_floor_weighs_little() -> None:
    known = history([], [])
    floor = evidence.floor_v(known)
    spread = np.array([1.0, floor])
    rows = evidence.rows_of(spread, np.full(2, 25.0), np.zeros(2), known)
    assert rows[0, 3] == pytest.approx(0.0)
    assert rows[0, 0] > 0.99
    assert rows[1, 0] < 0.1
    assert np.isfinite(rows).all()


def test_unknown_temperature_is_not_a_temperature() -> None:
    known = history([], [])
    told = evidence.rows_of(np.array([0.5]), np.array([np.nan]), np.zeros(1), known)
    assert told[0, 2] == 0.0
    assert told[0, 0] < evidence.rows_of(np.array([0.5]), np.array([5.0]), np.zeros(1), known)[0, 0]


def test_builds_are_kept_apart() -> None:
    known = history([0, 100, 200, 300, 400], [0.2, 0.3, 0.4, 0.2, 0.2], renewals=[(250, ALL)])
    count, cross = evidence.builds(known)
    assert count.tolist() == [3, 2]
    alone = evidence.builds(history([0, 100, 200], [0.2, 0.3, 0.4]))[1]
    assert cross[0] == pytest.approx(alone[0])


def test_nothing_later_is_seen() -> None:
    """The sums as of a day are those of the history cut at that day."""
    whole = history([0, 100, 200, 300], [0.2, 0.3, 0.4, 0.2], renewals=[(250, [2])])
    short = history([0, 100], [0.2, 0.3])
    day = np.array([ENTRY + 150.0])
    seen, wanted = evidence.gather(whole, day), evidence.gather(short, day)
    assert seen.cross.tolist() == wanted.cross.tolist()
    assert (seen.checks[0], seen.own_position[0]) == (2, 0)
    after = evidence.gather(whole, np.array([ENTRY + 310.0]))
    assert after.checks[0] == 1
    assert after.age_years[0] == pytest.approx(60 / 365.25)


def test_the_older_position_keeps_its_trend() -> None:
    """Position 2 is renewed; position 4, which drifts, is followed from entry on."""
    deviation = np.zeros((4, 5))
    deviation[:, 1] = [0.5, 0.6, 0.0, 0.0]
    deviation[:, 3] = [0.2, 0.3, 0.4, 0.5]
    known = history(
        [0, 100, 200, 300], [0.5, 0.6, 0.4, 0.5], deviation_v=deviation, renewals=[(150, [2])]
    )
    found = evidence.gather(known, np.array([ENTRY + 300.0]))
    assert found.own_position[0] == 4
    assert found.own_checks[0] == 4
    assert found.own_age_years[0] == pytest.approx(300 / 365.25)
    assert evidence.weakest_position(known, ENTRY + 300) == 4
    whole = history(
        [0, 100, 200, 300], [0.5, 0.6, 0.4, 0.5], deviation_v=deviation, renewals=[(150, ALL)]
    )
    assert evidence.gather(whole, np.array([ENTRY + 300.0])).own_position[0] == 0


def test_alone_v_is_the_distance_below_the_highest() -> None:
    told = evidence.alone_v(np.array([[0.1, -0.2, np.nan], [np.nan, np.nan, np.nan]]))
    assert told[0, :2] == pytest.approx([0.3, 0.0])
    assert np.isnan(told[0, 2])
    assert np.isnan(told[1]).all()
