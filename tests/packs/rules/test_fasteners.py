"""Fasteners out and back; facts of the trade as they were told (common practice, no source)."""

from hypothesis import given
from hypothesis import strategies as st

from packs.rules.fasteners import Tally, is_off, tally
from packs.rules.layouts import Fastener

BOARD = (
    Fastener("terminal bolt", 2, "junction_board"),
    Fastener("switch bolt", 2, "junction_board"),
    Fastener("spacer bolt", 4, "junction_board"),
    Fastener("spacer", 4, "junction_board", loose=True),
)
"""A board held by eight bolts: two to the pack's terminals and two to the service switch are
electrical, four go through four loose spacers."""


def test_a_junction_board_of_eight_bolts_and_four_spacers() -> None:
    out = [(one.kind, one.count) for one in BOARD]
    rows = tally(BOARD, out, [])
    assert sum(row.out for row in rows if not row.loose) == 8
    assert sum(row.out for row in rows[:2]) == 4
    assert [row.kind for row in rows if row.loose] == ["spacer"]
    missing = tally(BOARD, out, [*out[:3], ("spacer", 3)])
    assert [(row.kind, row.left) for row in missing if row.left] == [("spacer", 1)]
    assert missing[3].said == (
        "spacer: 3 of 4 back, 1 left. Loose: look for it in the case before it is closed."
    )


def test_eleven_modules_have_two_bus_bar_bolts_each() -> None:
    listed = (Fastener("bus-bar bolt", 2 * 11, "bus_bar"),)
    (row,) = tally(listed, [("bus-bar bolt", 2)] * 11, [("bus-bar bolt", 22)])
    assert (row.listed, row.out, row.left) == (22, 22, 0)
    assert row.said == "bus-bar bolt: all 22 back."


def test_one_sensor_at_the_inlet_and_two_at_the_outlet() -> None:
    listed = (Fastener("inlet clip", 1, "sensor"), Fastener("outlet clip", 2, "sensor"))
    rows = tally(listed, [("inlet clip", 1), ("outlet clip", 2)], [("inlet clip", 1)])
    assert [row.left for row in rows] == [0, 2]
    assert sum(row.out for row in rows) == 3


def test_a_kind_that_the_type_does_not_list_is_counted_too() -> None:
    assert tally((), [("washer", 2)], [("washer", 1)]) == (
        Tally("washer", "other", None, False, 2, 1),
    )


def test_a_torque_is_off_beyond_a_tenth() -> None:
    assert not is_off(5.5, 5)
    assert not is_off(4.5, 5)
    assert is_off(5.51, 5)
    assert is_off(4.49, 5)


kinds = st.sampled_from(["nut", "sleeve", "washer"])
moves = st.lists(st.tuples(kinds, st.integers(1, 20)), max_size=20)


@given(moves, moves)
def test_what_is_left_is_what_came_out_less_what_went_back(
    out: list[tuple[str, int]], back: list[tuple[str, int]]
) -> None:
    rows = tally((Fastener("nut", 10),), out, back)
    assert rows[0].kind == "nut"
    total = sum(count for _, count in out) - sum(count for _, count in back)
    assert sum(row.left for row in rows) == total
    assert len({row.kind for row in rows}) == len(rows)


@given(moves)
def test_all_back_leaves_nothing(out: list[tuple[str, int]]) -> None:
    assert not any(row.left for row in tally((), out, reversed(out)))
