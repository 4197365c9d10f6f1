"""Rows, their sums, and the position that a partial change leaves behind."""

import numpy as np
import pytest

from packs.rules.noise import noise_floor
from reports.trends import evidence
from reports.trends.evidence import Evidence
from reports.trends.histories import together
from reports.trends.history import Floats, PackHistory
from tests.reports.trends.histories import ALL, ENTRY, history


def seen_on(known: PackHistory, day: float) -> Evidence:
    """What was known of one pack on a day."""
    return evidence.gather(together([known]), np.zeros(1, dtype=np.int_), np.array([day]))


def rows_of(spread_v: Floats, temperature_c: Floats, known: PackHistory) -> Floats:
    """Rows of checks of the first day."""
    floor = np.full(spread_v.size, evidence.floor_v(known))
    years, limit_v = np.zeros(spread_v.size), np.full(spread_v.size, known.limit_v)
    return evidence.rows_of(spread_v, temperature_c, years, floor, limit_v)


def test_the_floor_is_that_of_noise_alone() -> None:
    """d2(5) = 2.325929 (control-chart tables), at the smaller of the two assumed noises."""
    assert evidence.floor_v(history([], [])) == pytest.approx(2.325929 * 0.02, abs=1e-6)
    small = history([], [], limit_v=0.1)
    assert evidence.floor_v(small) == pytest.approx(noise_floor(5, 0.002))


def test_the_limit_is_nought_and_the_floor_weighs_little() -> None:
    known = history([], [])
    floor = evidence.floor_v(known)
    spread = np.array([1.0, floor])
    rows = rows_of(spread, np.full(2, 25.0), known)
    assert rows[0, 3] == pytest.approx(0.0)
    assert rows[0, 0] > 0.99
    assert rows[1, 0] < 0.1
    assert np.isfinite(rows).all()


def test_unknown_temperature_is_not_a_temperature() -> None:
    known = history([], [])
    told = rows_of(np.array([0.5]), np.array([np.nan]), known)
    assert told[0, 2] == 0.0
    assert told[0, 0] < rows_of(np.array([0.5]), np.array([5.0]), known)[0, 0]


def test_builds_are_kept_apart() -> None:
    known = history([0, 100, 200, 300, 400], [0.2, 0.3, 0.4, 0.2, 0.2], renewals=[(250, ALL)])
    pack, count, cross = evidence.builds(together([known]))
    assert (pack.tolist(), count.tolist()) == ([0, 0], [3, 2])
    alone = evidence.builds(together([history([0, 100, 200], [0.2, 0.3, 0.4])]))[2]
    assert cross[0] == pytest.approx(alone[0])


def test_nothing_later_is_seen() -> None:
    """The sums as of a day are those of the history cut at that day."""
    whole = history([0, 100, 200, 300], [0.2, 0.3, 0.4, 0.2], renewals=[(250, [2])])
    short = history([0, 100], [0.2, 0.3])
    seen, wanted = seen_on(whole, ENTRY + 150.0), seen_on(short, ENTRY + 150.0)
    assert seen.cross.tolist() == wanted.cross.tolist()
    assert (seen.checks[0], seen.own_mark.size) == (2, 0)
    after = seen_on(whole, ENTRY + 310.0)
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
    found = seen_on(known, ENTRY + 300.0)
    assert found.own_position[0] == 4
    assert found.own_checks[0] == 4
    assert found.own_age_years[0] == pytest.approx(300 / 365.25)
    assert evidence.weakest_positions(together([known]), found.last).tolist() == [4]
    whole = history(
        [0, 100, 200, 300], [0.5, 0.6, 0.4, 0.5], deviation_v=deviation, renewals=[(150, ALL)]
    )
    assert seen_on(whole, ENTRY + 300.0).own_mark.size == 0


def test_alone_v_is_the_distance_below_the_highest() -> None:
    told = evidence.alone_v(np.array([[0.1, -0.2, np.nan], [np.nan, np.nan, np.nan]]))
    assert told[0, :2] == pytest.approx([0.3, 0.0])
    assert np.isnan(told[0, 2])
    assert np.isnan(told[1]).all()


@pytest.mark.parametrize(("checks", "followed"), [([0, 100, 300], []), ([0, 100, 200.5, 300], [1])])
def test_a_job_told_in_many_steps_touches_what_all_of_them_touched(
    checks: list[float], followed: list[int]
) -> None:
    """Joints 1 to 2, 2 to 3 and on to 5 are undone one by one: nobody is left behind, unless a
    check stands between the steps."""
    deviation = np.zeros((len(checks), 5))
    deviation[:, 0] = 0.3
    steps = [(200.0, (1, 2)), (200.2, (2, 3)), (200.8, (3, 4)), (200.9, (4, 5))]
    known = history(checks, [0.3] * len(checks), deviation_v=deviation, renewals=steps)
    found = seen_on(known, ENTRY + 310)
    assert found.own_position.tolist() == followed
    assert found.checks.tolist() == [1]


def test_a_position_that_no_step_touched_keeps_its_own() -> None:
    deviation = np.zeros((3, 5))
    deviation[:, 4] = 0.3
    steps = [(200.0, (1, 2)), (200.1, (2, 3))]
    known = history([0, 100, 300], [0.3] * 3, deviation_v=deviation, renewals=steps)
    found = seen_on(known, ENTRY + 310)
    assert (found.own_position.tolist(), found.own_checks.tolist()) == ([5], [3])
