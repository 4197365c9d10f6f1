"""What of the pack side stays live, bus bar by bus bar."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from packs.rules.live import (
    BUS_BAR,
    SWITCH,
    Move,
    between,
    declared,
    highest_cell_v,
    live_side,
    open_joints,
)

ELEVEN = [12 * 1.40] * 11  # modules of 14.4 V nominal, V; common practice, no source


def joints(*moves: Move, switch_after: int | None = 5) -> frozenset[int]:
    return open_joints(moves, switch_after=switch_after, module_count=11)


OUT, IN = Move(SWITCH, out=True), Move(SWITCH, out=False)


def test_the_switch_parts_eleven_modules_into_two_pieces() -> None:
    """Eleven modules of 14.4 V parted 5 and 6: 84.0 V and 100.8 V at 1.40 V a cell."""
    side = live_side(ELEVEN, joints(OUT))
    assert [piece.highest_v for piece in side.pieces] == pytest.approx([84.0, 100.8])
    assert side.whole_v == pytest.approx(184.8)
    assert side.said == (
        "The pack side stays live: up to 100.8 V between the ends of the largest piece still "
        "joined (modules 6 to 11)."
    )


def test_each_bus_bar_taken_out_makes_it_less_and_put_in_more() -> None:
    moves, highest = [OUT], [live_side(ELEVEN, joints(OUT)).largest.highest_v]
    for after in (8, 2, 6):
        moves.append(Move(BUS_BAR, out=True, after=(after,)))
        highest.append(live_side(ELEVEN, joints(*moves)).largest.highest_v)
    assert highest == pytest.approx([100.8, 84.0, 50.4, 50.4])
    moves.append(Move(BUS_BAR, out=False, after=(2, 6)))
    assert live_side(ELEVEN, joints(*moves)).largest.highest_v == pytest.approx(84.0)


def test_the_switch_in_joins_what_no_bus_bar_parts() -> None:
    assert joints(OUT, IN) == frozenset()
    assert joints(OUT, Move(BUS_BAR, out=True, after=(3,)), IN) == {3}


def test_bars_at_the_ends_and_other_parts_open_nothing() -> None:
    ends = Move(BUS_BAR, out=True, after=(0, 11))
    assert (
        joints(ends, Move("cover", out=True), Move("module", out=True, after=(4,))) == frozenset()
    )


def test_a_switch_nobody_placed_leaves_the_whole_string_live() -> None:
    assert joints(OUT, switch_after=None) == frozenset()


def test_single_modules_stay_live_too() -> None:
    bars = Move(BUS_BAR, out=True, after=tuple(range(1, 11)))
    side = live_side(ELEVEN, joints(OUT, bars))
    assert side.largest.highest_v == pytest.approx(16.8)
    assert between(side.largest) == "between the terminals of module 1"
    assert declared(side.largest).startswith("The pack side stays live: up to 16.8 V")


def test_a_cell_is_as_high_as_its_type_says_or_its_chemistry_allows() -> None:
    assert highest_cell_v("nimh", 1.4) == 1.4
    assert highest_cell_v("nimh", None) > 1.4
    assert highest_cell_v("li_ion", None) > 4.2


@given(st.lists(st.floats(-20, 20), min_size=2, max_size=30), st.data())
def test_opening_a_joint_never_makes_a_piece_higher(
    volts: list[float], data: st.DataObject
) -> None:
    cuts = data.draw(st.sets(st.integers(1, len(volts) - 1)))
    more = cuts | {data.draw(st.integers(1, len(volts) - 1))}
    higher, lower = live_side(volts, cuts), live_side(volts, more)
    assert lower.largest.highest_v <= higher.largest.highest_v + 1e-9
    assert higher.largest.highest_v <= higher.whole_v + 1e-9
