import numpy as np
import pytest

from packs.rules.noise import d2, medians, noise_floor, robust_z

SPECTROMETER = [199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57]
"""Tietjen and Moore (1972), in NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17.1."""


@pytest.mark.parametrize(
    ("n", "factor"),
    [
        (5, 2.325929),
        (11, 3.172873),
        (14, 3.406763),
        (20, 3.734950),
        (25, 3.930629),
        (28, 4.027414),
        (34, 4.189426),
    ],
)
def test_d2_agrees_with_control_chart_tables(n: int, factor: float) -> None:
    assert d2(n) == pytest.approx(factor, abs=6e-7)


def test_d2_of_two_is_known_exactly() -> None:
    """2/√π: the mean distance of two standard normal figures."""
    assert d2(2) == pytest.approx(2 / np.sqrt(np.pi), abs=1e-12)
    assert d2(1) == pytest.approx(0.0, abs=1e-12)


def test_a_range_of_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="at least one"):
        d2(0)


def test_equal_positions_show_the_floor() -> None:
    noise = np.random.default_rng(11).normal(0.0, 0.02, (20_000, 28))
    shown = float(np.ptp(noise, axis=1).mean())
    assert shown == pytest.approx(noise_floor(28, 0.02), rel=0.005)


def test_modified_z_of_the_spectrometer() -> None:
    """Median 201.37, MAD 0.995, largest 29.9627: recomputed from the published data."""
    data = np.array(SPECTROMETER)
    assert medians(data) == pytest.approx(201.37)
    z = robust_z(data)
    assert float(z.max()) == pytest.approx(29.9627, abs=5e-5)
    assert int(z.argmax()) == 7


def test_z_goes_by_rows_and_keeps_what_is_missing() -> None:
    rows = np.array([[*SPECTROMETER, np.nan], [*SPECTROMETER[::-1], np.nan]])
    z = robust_z(rows)
    assert z[0, :8] == pytest.approx(z[1, 7::-1])
    assert np.isnan(z[:, 8]).all()


def test_one_off_among_equals_stands_out_without_bound() -> None:
    assert robust_z(np.array([8.0, 8.0, 8.0, 8.0, 7.9])).tolist() == [0, 0, 0, 0, -np.inf]


def test_medians_of_odd_even_and_none() -> None:
    rows = np.array([[3.0, 1.0, 2.0], [4.0, np.nan, 1.0], [np.nan] * 3])
    assert np.array_equal(medians(rows), [2.0, 2.5, np.nan], equal_nan=True)
