"""Cells apart, and below what they are not charged again."""

import numpy as np
import pytest

from packs.rules.layouts import CUT_OFF_CELL_V
from packs.rules.lithium import LOWEST_CELL_V, cell_range, charge_refusal, lowest_allowed_v


def test_the_lowest_and_the_highest_cell() -> None:
    found = cell_range(np.array([3.7, 3.6, np.nan, 3.9]), np.array([1, 1, 1, 1]))
    assert found is not None
    assert (found.lowest_v, found.lowest_at, found.highest_v, found.highest_at) == (3.6, 2, 3.9, 4)
    assert found.exact


def test_of_blocks_it_is_a_mean() -> None:
    found = cell_range(np.array([7.4, 11.4]), np.array([2, 4]))
    assert found is not None
    assert (found.lowest_v, found.highest_v) == pytest.approx((2.85, 3.7))
    assert (found.lowest_at, found.exact) == (2, False)


def test_nothing_read_is_nothing() -> None:
    assert cell_range(np.array([np.nan, np.nan]), np.array([1, 1])) is None


def test_below_the_minimum_there_is_no_charge() -> None:
    assert lowest_allowed_v(CUT_OFF_CELL_V) == LOWEST_CELL_V
    assert lowest_allowed_v(2.8) == 2.8
    assert charge_refusal(2.5, LOWEST_CELL_V, "Cell 4") is None
    refusal = charge_refusal(2.49, LOWEST_CELL_V, "Cell 4")
    assert refusal is not None
    assert refusal.startswith("Cell 4 reads 2.49 V a cell, below 2.5 V")
