import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from packs.rules.voltages import MISSING, UNIT_V, UNITS_PER_V, as_json, to_units, to_volts


def test_a_figure_comes_back_as_it_was_given() -> None:
    assert to_volts(to_units([8.0123]))[0] == 8.0123


@given(st.lists(st.integers(-2_000_000, 2_000_000), min_size=1))
def test_every_tenth_of_a_millivolt_comes_back_exactly(tenths: list[int]) -> None:
    given_v = [float(f"{tenth}e-4") for tenth in tenths]
    assert to_volts(to_units(given_v)).tolist() == given_v
    assert as_json(to_units(given_v)) == given_v


def test_a_missing_voltage_stays_missing() -> None:
    units = to_units([16.0, None, -0.5])
    assert units.tolist() == [160000, MISSING, -5000]
    assert np.isnan(to_volts(units)).tolist() == [False, True, False]
    assert as_json(units) == [16.0, None, -0.5]


def test_halves_are_rounded_to_even() -> None:
    assert to_units([0.00025, 0.00035, -0.00025]).tolist() == [2, 4, -2]


def test_units_are_small_and_of_one_size() -> None:
    assert to_units([1.0]).dtype == np.int32
    assert pytest.approx(1.0) == UNIT_V * UNITS_PER_V


@pytest.mark.parametrize("volts", [214_749.0, -214_749.0, float("inf")])
def test_what_can_not_be_stored_is_refused(volts: float) -> None:
    with pytest.raises(ValueError, match="214 kV"):
        to_units([volts])


def test_several_checks_come_back_in_their_shape() -> None:
    units = np.array([[80000, MISSING], [79000, 81000]], dtype=np.int32)
    assert np.array_equal(to_volts(units), [[8.0, np.nan], [7.9, 8.1]], equal_nan=True)
