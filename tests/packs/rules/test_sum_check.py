"""Each half against the sum of its modules: identities of a series string."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from packs.rules.charge import are_equal, tolerance_v
from packs.rules.sum_check import Load, Reading, heat_w, judge
from packs.rules.sum_check import tolerance_v as room_of

VOLTS = [15.6, 15.7, 15.5, 15.8, 15.6]  # five of the eleven modules of twelve cells


def modules(volts: list[float], first: int = 1) -> list[Reading]:
    return [Reading(first + place, 1, volt) for place, volt in enumerate(volts)]


def test_a_healthy_half_rests_above_nominal_and_agrees() -> None:
    """Five modules of 14.4 V nominal are 72.0 V; healthy they rest at 78.2 V, which is no fault."""
    told = judge(modules(VOLTS), 78.2)
    assert told.kind == "agrees"
    assert told.sum_v == pytest.approx(78.2)
    assert told.said == "78.20 V, and its modules sum to 78.20 V: they agree."


def test_a_half_at_its_nominal_voltage_is_short() -> None:
    assert judge(modules(VOLTS), 72.0).kind == "disagrees"


@given(st.lists(st.floats(7.0, 17.0), min_size=2, max_size=30), st.data(), st.floats(-0.05, 0.05))
def test_short_by_twice_a_module_it_stands_the_wrong_way_round(
    volts: list[float], data: st.DataObject, error: float
) -> None:
    turned = data.draw(st.integers(0, len(volts) - 1))
    told = judge(modules(volts), sum(volts) - 2 * volts[turned] + error)
    assert told.kind == "reversed"
    assert turned + 1 in told.fits
    room = told.tolerance_v
    assert all(abs(2 * volts[at - 1] - told.short_v) <= room for at in told.fits)


@given(st.lists(st.floats(7.0, 17.0), min_size=1, max_size=30), st.floats(-0.03, 0.03))
def test_the_sum_itself_agrees(volts: list[float], error: float) -> None:
    assert judge(modules(volts), sum(volts) + error).kind == "agrees"


def test_the_one_that_fits_is_named() -> None:
    told = judge(modules([7.9, 8.6, 7.9], first=4), 24.4 - 2 * 8.6)
    assert (told.fits, told.turned) == ((5,), 1)
    assert "Module 5: it stands the wrong way round" in told.said


def test_two_turned_modules_are_counted() -> None:
    told = judge(modules(VOLTS), 78.2 - 2 * (15.6 + 15.7))
    assert (told.kind, told.turned, told.fits) == ("reversed", 2, ())
    assert "2 stand the wrong way round" in told.said


def test_a_reading_below_zero_is_turned_though_the_sum_agrees() -> None:
    told = judge(modules([7.9, -7.9, 7.9]), 7.9)
    assert (told.kind, told.fits) == ("reversed", (2,))


def test_a_block_of_two_is_short_by_its_own_voltage() -> None:
    """One of two modules turned: the block read 15.8 V before, the half is short by 2 · 7.9 V."""
    blocks = [Reading(1, 2, 15.8), Reading(3, 2, 15.8), Reading(5, 2, 17.0)]
    told = judge(blocks, 48.6 - 17.0)
    assert (told.kind, told.fits) == ("reversed", (5,))
    assert "One module of block 5 to 6 stands the wrong way round" in told.said


def test_a_block_that_reads_nothing_has_a_turned_module() -> None:
    blocks = [Reading(1, 2, 15.8), Reading(3, 2, 0.02), Reading(5, 2, 15.8)]
    told = judge(blocks, 31.62)
    assert (told.kind, told.fits) == ("reversed", (3,))


def test_a_block_with_a_lost_cell_is_not_turned() -> None:
    blocks = [Reading(1, 2, 15.8), Reading(3, 2, 14.5), Reading(5, 2, 15.8)]
    assert judge(blocks, 46.1).kind == "agrees"


def test_more_than_the_sum_is_an_old_reading() -> None:
    told = judge(modules(VOLTS), 79.5)
    assert told.kind == "high"
    assert "1.30 V more" in told.said


def test_short_under_load_only_is_a_joint_with_its_heat() -> None:
    """78.2 V at rest and 76.2 V at 20 A are 100 mΩ; 60 mΩ are the modules', 40 mΩ a joint, which
    makes 64 W at 40 A."""
    told = judge(modules(VOLTS), 78.2, Load(76.2, 20, 60, 40))
    assert told.kind == "joint"
    assert told.joint_mohm == pytest.approx(40)
    assert told.heat_w == pytest.approx(64)
    assert "40.0 mΩ too much, 64 W of heat at 40 A" in told.said


def test_what_the_modules_have_themselves_is_no_joint() -> None:
    assert judge(modules(VOLTS), 78.2, Load(77.0, 20, 60, 40)).kind == "agrees"
    unknown = judge(modules(VOLTS), 78.2, Load(76.2, 20, None, 40))
    assert unknown.kind == "agrees"
    assert "100.0 mΩ, modules and joints together" in unknown.said


@given(st.floats(0.1, 500), st.floats(1, 500))
def test_heat_is_current_squared_times_resistance(milliohm: float, amperes: float) -> None:
    assert heat_w(milliohm, amperes) == pytest.approx(amperes * (milliohm / 1000 * amperes))


def test_room_grows_with_the_modules_and_not_with_the_nominal() -> None:
    few, many = room_of(modules(VOLTS[:2])), room_of(modules(VOLTS))
    assert few < many < VOLTS[0]


def test_without_readings_there_is_nothing_to_sum() -> None:
    with pytest.raises(ValueError, match="rest voltages"):
        judge([], 70.0)


def test_equal_charge_is_within_the_tolerance() -> None:
    assert tolerance_v(6, "nimh") == pytest.approx(0.12)
    assert are_equal([7.9, 8.02], 6, "nimh")
    assert not are_equal([7.9, 8.03], 6, "nimh")
