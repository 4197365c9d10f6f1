"""Blocks of unequal size are compared as if each had as many cells."""

import numpy as np
import pytest

from packs.rules.leveling import as_equal
from packs.rules.spread import ranges, summarise

CELLS = np.array([18, 12, 12])  # blocks of 3, 2 and 2 modules of six cells


def test_equal_positions_stay_as_they_are() -> None:
    volts = np.array([7.9, np.nan, 7.7])
    assert as_equal(volts, np.array([6, 6, 6])) is volts


def test_healthy_blocks_have_no_spread_whatever_their_size() -> None:
    summary = summarise(as_equal(1.3333 * CELLS, CELLS))
    assert (summary.spread_v, summary.weakest_position) == (0, None)


@pytest.mark.parametrize("place", [0, 1, 2])
def test_a_low_cell_is_as_many_volts_low_in_any_block(place: int) -> None:
    volts = 1.3 * CELLS
    volts[place] -= 0.3
    summary = summarise(as_equal(volts, CELLS))
    assert summary.spread_v == pytest.approx(0.3, abs=1e-9)
    assert (summary.weakest_position, summary.weakest_deviation_v) == (place + 1, 0.3)


def test_what_was_not_read_stays_unread_and_moves_nothing() -> None:
    leveled = as_equal(np.array([1.3 * 18, np.nan, 1.3 * 12]), CELLS)
    assert np.isnan(leveled).tolist() == [False, True, False]
    assert leveled[0] == pytest.approx(leveled[2], abs=1e-9)


def test_many_checks_are_each_leveled_by_themselves() -> None:
    checks = np.outer([1.2, 1.35, 1.4], CELLS)
    checks[1, 2] = np.nan
    checks[2, 1] -= 0.2
    leveled = as_equal(checks, CELLS)
    assert leveled.shape == (3, 3)
    assert ranges(leveled) == pytest.approx(np.array([0.0, 0.0, 0.2]), abs=1e-9)
    each = [as_equal(check, CELLS) for check in checks]
    assert leveled == pytest.approx(np.array(each), nan_ok=True)
