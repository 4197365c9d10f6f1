import numpy as np
import pytest
from numpy.typing import NDArray

from packs.rules.reference import (
    ACTIVATION_EV,
    MAX_STEP,
    Comparable,
    at_reference,
    at_reference_many,
    resistance_factor,
)

Floats = NDArray[np.float64]
REST_V = np.array([8.00, 7.90, 7.95])
OHMS = np.array([0.020, 0.010, 0.025])


def brought(
    load_a: float = 50.0,
    reference_a: float = 50.0,
    *,
    temperature_c: float | None = 25.0,
    rest_a: float | None = 0.0,
    activation_ev: float = 0.12,
) -> Comparable:
    """Three positions of known resistance, with a rest pair unless `rest_a` is None."""
    true_rest_a = rest_a or 0.0
    heat_c = 25.0 if temperature_c is None else temperature_c
    ohms = OHMS * resistance_factor(heat_c, 25.0, activation_ev)
    return at_reference(
        REST_V - load_a * ohms,
        load_a,
        None if rest_a is None else REST_V - true_rest_a * ohms,
        true_rest_a,
        reference_a,
        temperature_c,
        25.0,
        activation_ev,
    )


@pytest.mark.parametrize(("reference_a", "spread"), [(10.0, 0.10), (50.0, 0.70)])
@pytest.mark.parametrize("share", [0.7, 1.0, 1.4])
def test_positions_are_brought_before_the_range_is_taken(
    reference_a: float, spread: float, share: float
) -> None:
    """Identity: 8.00/7.90/7.95 V at rest with 20/10/25 mΩ."""
    result = brought(reference_a * share, reference_a)
    assert result.spread_v == pytest.approx(spread, abs=1e-9)
    assert result.voltages_v == pytest.approx(REST_V - reference_a * OHMS)


def test_a_rest_check_that_draws_a_little_gives_the_same() -> None:
    assert brought(40.0, 50.0, rest_a=3.0).spread_v == pytest.approx(0.70, abs=1e-9)
    assert brought(40.0, 50.0, rest_a=-0.5).spread_v == pytest.approx(0.70, abs=1e-9)


@pytest.mark.parametrize("temperature_c", [10.0, 18.0, 25.0, 40.0])
def test_temperature_is_taken_out_of_the_resistance_alone(temperature_c: float) -> None:
    result = brought(45.0, 50.0, temperature_c=temperature_c)
    assert result.spread_v == pytest.approx(0.70, abs=1e-9)
    assert any(f"taken at {temperature_c:g} °C" in note for note in result.notes) is (
        temperature_c != 25.0
    )


def test_a_missing_temperature_counts_as_the_reference_and_is_told() -> None:
    result = brought(temperature_c=None)
    assert result.spread_v == pytest.approx(0.70, abs=1e-9)
    assert "no temperature: compared as if at 25 °C" in result.notes


@pytest.mark.parametrize(
    ("load_a", "comparable"), [(75.0, True), (75.1, False), (100 / 3, True), (33.3, False)]
)
def test_one_and_a_half_times_is_as_far_as_a_current_is_brought(
    load_a: float, comparable: bool
) -> None:
    result = brought(load_a, 50.0)
    assert (result.spread_v is not None) is comparable
    assert (result.why_not is None) is comparable


def test_too_long_a_step_is_told_with_its_figures() -> None:
    result = brought(20.0, 50.0)
    assert result.why_not is not None
    assert "20 A, 2.50 times off the reference 50 A" in result.why_not
    assert result.voltages_v is None


@pytest.mark.parametrize(
    ("load_a", "comparable"), [(45.0, True), (55.0, True), (44.9, False), (55.1, False)]
)
def test_without_a_pair_a_tenth_is_the_limit(load_a: float, comparable: bool) -> None:
    result = brought(load_a, 50.0, rest_a=None)
    assert (result.spread_v is not None) is comparable
    if not comparable:
        assert "no rest check pairs" in str(result.why_not)


def test_without_a_pair_the_current_is_not_corrected() -> None:
    result = brought(45.0, 50.0, rest_a=None)
    assert result.spread_v == pytest.approx(7.45 - 6.825)
    assert "no rest pair" in result.notes[0]


def test_without_a_pair_distances_shrink_by_the_factor() -> None:
    result = brought(50.0, 50.0, rest_a=None, temperature_c=10.0)
    factor = float(resistance_factor(10.0, 25.0, 0.12))
    measured = REST_V - 50.0 * OHMS * factor
    assert result.spread_v == pytest.approx(float(np.ptp(measured)) / factor)
    assert result.voltages_v is not None
    assert float(np.median(result.voltages_v)) == pytest.approx(float(np.median(measured)))


@pytest.mark.parametrize(("temperature_c", "words"), [(-30.0, "-30 °C"), (85.0, "85 °C")])
def test_too_much_heat_or_cold_is_not_compared(temperature_c: float, words: str) -> None:
    result = brought(temperature_c=temperature_c)
    assert result.spread_v is None
    assert words in str(result.why_not)
    assert "1.5 times" in str(result.why_not)


def test_a_rest_check_near_the_load_gives_no_resistance() -> None:
    assert "too little help" in str(brought(8.0, 10.0, rest_a=5.0).why_not)
    assert brought(10.0, 10.0, rest_a=5.0).spread_v == pytest.approx(0.10, abs=1e-9)


def test_a_position_not_read_at_rest_is_left_out_and_told() -> None:
    rest = np.array([8.0, 7.9, 7.95, np.nan])
    load = np.array([7.0, 7.4, 6.7, 7.2])
    result = at_reference(load, 50.0, rest, 0.0, 50.0, None, 25.0, 0.12)
    assert result.spread_v == pytest.approx(0.7)
    assert result.notes[1] == "left out, not readable at rest: position 4"


def random_checks(n: int) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    random = np.random.default_rng(5)
    rest = random.normal(8.0, 0.05, (n, 28))
    rest[::4] = np.nan
    load = 8.0 - 0.01 * random.normal(100.0, 20.0, (n, 28))
    load[1, 3] = np.nan
    heat = np.where(np.arange(n) % 5, random.uniform(-30.0, 60.0, n), np.nan)
    return load, random.uniform(40.0, 200.0, n), rest, random.uniform(0.0, 5.0, n), heat


def test_many_agree_with_one_by_one() -> None:
    load, load_a, rest, rest_a, heat = random_checks(200)
    spreads, voltages = at_reference_many(load, load_a, rest, rest_a, heat, 100.0, 25.0, 0.12)
    for at in range(200):
        one = at_reference(
            load[at],
            float(load_a[at]),
            None if at % 4 == 0 else rest[at],
            float(rest_a[at]),
            100.0,
            None if np.isnan(heat[at]) else float(heat[at]),
            25.0,
            0.12,
        )
        assert one.spread_v == (None if np.isnan(spreads[at]) else spreads[at])
        if one.voltages_v is not None:
            assert np.array_equal(one.voltages_v, voltages[at], equal_nan=True)
    assert 20 < np.count_nonzero(np.isnan(spreads)) < 180


@pytest.mark.parametrize(("activation_ev", "factor"), [(0.5, 133.0), (1.0, 17_597.0)])
def test_arrhenius_factor_between_25_and_125_c(activation_ev: float, factor: float) -> None:
    """NIST/SEMATECH e-Handbook of Statistical Methods, 8.1.5.1, which takes 0 °C as 273.16 K and
    k as 8.617e-5 eV/K: with today's constants the figures differ by up to 2 in 1000."""
    assert float(resistance_factor(25.0, 125.0, activation_ev)) == pytest.approx(factor, rel=3e-3)


def test_lithium_activation_energy_is_the_fit_through_the_measured_cell() -> None:
    """3.20, 2.03, 1.93 mΩ at 10, 25, 40 °C (Wiggins and others 2019, 10.5281/zenodo.2580327)."""
    inverse_kt = 1 / (8.617333262e-5 * (np.array([10.0, 25.0, 40.0]) + 273.15))
    slope, _ = np.polyfit(inverse_kt, np.log([3.20, 2.03, 1.93]), 1)
    assert ACTIVATION_EV["li_ion"] == pytest.approx(slope, abs=0.005)


def test_nickel_metal_hydride_has_half_as_much_again_at_0_c() -> None:
    """An assumption: common practice, no source."""
    assert float(resistance_factor(0.0, 25.0, ACTIVATION_EV["nimh"])) == pytest.approx(1.5, abs=0.1)
    assert MAX_STEP == 1.5
