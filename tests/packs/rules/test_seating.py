"""Who sat at a position, read from changes in any order."""

from datetime import UTC, datetime, timedelta
from itertools import pairwise
from random import Random

from hypothesis import given
from hypothesis import strategies as st

from packs.rules.seating import Change, simultaneous, stays

BEGUN = datetime(2024, 3, 1, tzinfo=UTC)


def changed(day: int, removed: int | None, fitted: int | None) -> Change:
    return Change(day, BEGUN + timedelta(days=day), removed, fitted, "normal")


def test_nothing_changed_is_one_nameless_stay() -> None:
    assert [(stay.begun_by, stay.ended_by, stay.module) for stay in stays([])] == [
        (None, None, None)
    ]


def test_a_nameless_stay_is_named_by_what_came_out() -> None:
    first, second, third = stays([changed(1, 7, None), changed(2, 8, 9)])
    assert (first.module, second.module, third.module) == (7, 8, 9)
    assert not any(stay.contradicted for stay in (first, second, third))


def test_what_came_out_must_be_what_went_in() -> None:
    middle = stays([changed(1, None, 7), changed(2, 8, None)])[1]
    assert middle.contradicted
    assert (middle.said_at_first, middle.said_at_last) == (7, 8)


def test_two_changes_at_one_instant() -> None:
    one, two = changed(1, None, 7), Change(2, changed(1, None, None).at, None, 8, "normal")
    assert simultaneous([two, one]) == (one, two)
    assert simultaneous([one, changed(2, None, None)]) is None


@given(st.lists(st.integers(0, 400), unique=True, max_size=12), st.randoms())
def test_stays_cover_all_time_whatever_the_order(days: list[int], order: Random) -> None:
    changes = [changed(day, None, day + 1000) for day in days]
    order.shuffle(changes)
    found = stays(changes)
    assert len(found) == len(days) + 1
    assert found[0].begun_by is None
    assert found[-1].ended_by is None
    assert all(one.ended_by is two.begun_by for one, two in pairwise(found))
    assert [stay.module for stay in found[1:]] == [day + 1000 for day in sorted(days)]
