"""What a history holds, and where it is cut."""

from typing import Any

import numpy as np
import pytest

from reports.trends.history import PackHistory, position_starts, since, through
from tests.reports.trends.histories import ALL, ENTRY, history


def test_a_build_starts_at_the_last_renewal() -> None:
    assert since(history([1, 2], [0.2, 0.3])) == ENTRY
    assert since(history([1], [0.2], renewals=[(10, [2]), (20, ALL)])) == ENTRY + 20


def test_a_position_keeps_its_own_start() -> None:
    known = history([1], [0.2], renewals=[(10, [2, 3]), (20, [3])])
    assert position_starts(known).tolist() == [
        ENTRY,
        ENTRY + 10,
        ENTRY + 20,
        ENTRY,
        ENTRY,
    ]


def test_what_comes_later_is_left_out() -> None:
    whole = history(
        [1, 50, 90], [0.2, 0.3, 0.4], renewals=[(10, [2]), (60, ALL)], failures=[50, 70]
    )
    known = through(whole, ENTRY + 50)
    assert known.days.tolist() == [ENTRY + 1, ENTRY + 50]
    assert known.spread_v.tolist() == [0.2, 0.3]
    assert known.renewed.shape == (1, 5)
    assert known.failure_days.tolist() == [ENTRY + 50]
    assert known.contact_day == ENTRY + 50
    assert through(whole, ENTRY + 1000).contact_day == whole.contact_day


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("spread_v", np.array([0.1])),
        ("spread_v", np.array([0.1, np.nan])),
        ("spread_v", np.array([0.1, -0.1])),
        ("temperature_c", np.zeros(3)),
        ("deviation_v", np.zeros((1, 5))),
        ("days", np.array([2.0, 1.0])),
        ("days", np.array([1.0, np.nan])),
        ("renewed", np.zeros((1, 5), dtype=np.bool_)),
        ("limit_v", 0.0),
    ],
)
def test_what_cannot_be_is_refused(field: str, value: Any) -> None:
    known = history([1, 2], [0.2, 0.3])
    with pytest.raises(ValueError, match=field):
        PackHistory(**{**vars(known), field: value})
