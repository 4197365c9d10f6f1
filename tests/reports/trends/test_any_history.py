"""Whatever the order and the gaps of what was recorded, a pack has an outlook."""

from typing import Any

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from reports.trends import fleet
from reports.trends.history import PackHistory
from reports.trends.outlook import judge

DAYS = st.integers(0, 1200).map(float)


@st.composite
def histories(draw: Any) -> PackHistory:
    """Checks, renewals and failures anywhere, readings missing here and there."""
    positions = draw(st.integers(2, 5))
    days = np.array(sorted(draw(st.lists(DAYS, max_size=6))))
    renewal_days = np.array(sorted(draw(st.lists(DAYS, max_size=5))))
    failure_days = np.array(sorted(draw(st.lists(DAYS, max_size=2))))
    reading = st.floats(-0.2, 2.0) | st.just(float("nan"))
    deviation_v = np.array(
        [[draw(reading) for _ in range(positions)] for _ in days], dtype=np.float64
    ).reshape(days.size, positions)
    everything = [*days, *renewal_days, *failure_days, draw(DAYS)]
    return PackHistory(
        days=days,
        spread_v=np.array([draw(st.floats(0, 3)) for _ in days], dtype=np.float64),
        deviation_v=deviation_v,
        temperature_c=np.array(
            [draw(st.floats(-30, 60) | st.just(float("nan"))) for _ in days], dtype=np.float64
        ),
        renewal_days=renewal_days,
        renewed=np.array(
            [[draw(st.booleans()) for _ in range(positions)] for _ in renewal_days], dtype=bool
        ).reshape(renewal_days.size, positions),
        failure_days=failure_days,
        entry_day=min(everything),
        contact_day=max(everything),
        limit_v=draw(st.sampled_from([0.001, 0.3, 1.2, 1000.0])),
        group="ANY/load/block",
    )


@settings(max_examples=150, deadline=None)
@given(histories(), DAYS)
def test_every_history_has_an_outlook(history: PackHistory, day: float) -> None:
    told = judge(history, fleet.PRIOR, as_of_day=day)
    chances = list(told.failure_probability.values())
    assert all(0 < chance < 1 for chance in chances)
    assert chances == sorted(chances)
    if told.limit_reached_days is not None:
        known = [when for when in told.limit_reached_days if when is not None]
        assert known == sorted(known)
        assert np.isfinite(known).all()


@settings(max_examples=30, deadline=None)
@given(st.lists(histories(), max_size=6))
def test_every_fleet_can_be_fitted(fleet_histories: list[PackHistory]) -> None:
    made = fleet.fit(fleet_histories, through_day=1200.0)
    for history in fleet_histories:
        told = judge(history, made, as_of_day=1200.0)
        assert all(0 < chance < 1 for chance in told.failure_probability.values())


def test_a_position_renewed_after_the_last_check_has_no_trend_of_its_own() -> None:
    """Block 2 was weakest, was renewed, then another block was; and no check was taken since."""
    history = PackHistory(
        days=np.array([10.0, 20.0]),
        spread_v=np.array([0.4, 0.5]),
        deviation_v=np.array([[0.0, 0.4, 0.1], [0.0, 0.5, 0.1]]),
        temperature_c=np.array([25.0, 25.0]),
        renewal_days=np.array([30.0, 33.0]),
        renewed=np.array([[False, True, False], [True, False, False]]),
        failure_days=np.array([]),
        entry_day=0.0,
        contact_day=33.0,
        limit_v=1.2,
        group="ANY/load/block",
    )
    told = judge(history, fleet.PRIOR, as_of_day=60.0)
    assert (told.level, told.checks_used) == ("too_little_data", 0)
