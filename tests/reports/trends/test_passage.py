"""When a trend reaches its limit, against values in print and against drawn lines."""

import numpy as np
import pytest
from scipy.special import ndtr

from reports.trends import mixed, passage
from reports.trends.history import YEAR_DAYS, Floats

# Operating current of GaAs lasers 101 to 110 at 80 °C, per cent up, every 250 h to 4,000 h; failure
# at 10 %.
# Meeker & Escobar (1998) Statistical Methods for Reliability Data, table C.17.
LASERS = """
0 0.4741 0.9255 2.1147 2.7168 3.5110 4.3415 4.9076 5.4782 5.9925 6.7224 7.1303 8.0006 8.9193 9.4940 9.8675 10.9446
0 0.7078 1.2175 1.8955 2.2954 2.8650 3.7454 4.4192 4.9894 5.5148 6.0668 6.6385 7.1615 7.7778 8.4242 8.9092 9.2834
0 0.7074 1.1651 1.7253 1.9888 2.5325 2.9695 3.2977 3.9354 4.1613 4.4459 4.8890 5.2696 5.6913 6.0216 6.4485 6.8849
0 0.3634 0.6161 1.3597 1.9525 2.2995 2.9468 3.3871 3.7863 4.1116 4.5013 4.7209 4.9766 5.2812 5.6150 5.9503 6.1438
0 0.2707 0.6144 1.1093 1.7730 2.0625 2.5835 2.9863 3.3765 4.0491 4.6260 5.2370 5.6191 6.0449 6.3167 7.0952 7.5941
0 0.3584 1.3922 1.9541 2.8617 3.4552 3.8117 4.5330 5.3541 5.9217 6.7078 7.7027 8.6053 9.1477 9.9510 10.4857 11.0096
0 0.3637 0.9237 1.2098 1.4591 1.9323 2.3862 2.6799 2.9397 3.4183 4.0857 4.5843 4.8402 5.1145 5.5691 6.1140 7.1723
0 0.4580 1.0678 1.4163 1.7659 2.1061 2.3969 2.7800 3.0187 3.2890 3.7542 4.1595 4.7575 5.1597 5.4591 5.8085 6.2450
0 0.5098 0.9308 1.5713 1.9576 2.5871 3.2892 3.6075 4.1148 4.5964 4.9130 5.3408 5.8418 6.3961 6.8441 7.2037 7.8848
0 0.4136 1.4880 2.3810 2.9950 3.8350 4.5010 5.2510 6.2560 7.0510 7.8030 8.3210 8.9300 9.5540 10.4500 11.2800 12.2100
"""
LASER_LIVES = [3702, 4194, 5847, 6172, 5301, 3592, 6051, 6538, 5110, 3306]

# Crack length, in, every 10,000 cycles, units 1 to 3, 8, 12 and 13; failure at 1.60 in.
# Lu & Meeker (1993) Technometrics 35, 161.
CRACKS = [
    (0.90, 0.95, 1.00, 1.05, 1.12, 1.19, 1.27, 1.35, 1.48, 1.64),
    (0.90, 0.94, 0.98, 1.03, 1.08, 1.14, 1.21, 1.28, 1.37, 1.47, 1.60),
    (0.90, 0.94, 0.98, 1.03, 1.08, 1.13, 1.19, 1.26, 1.35, 1.46, 1.58, 1.77),
    (0.90, 0.93, 0.97, 1.00, 1.06, 1.11, 1.17, 1.23, 1.30, 1.39, 1.49, 1.62),
    (0.90, 0.93, 0.97, 1.00, 1.03, 1.07, 1.10, 1.16, 1.22, 1.29, 1.37, 1.48, 1.64),
    (0.90, 0.92, 0.97, 0.99, 1.03, 1.06, 1.10, 1.14, 1.20, 1.26, 1.31, 1.40, 1.52),
]
CRACK_TIMES: Floats = np.linspace(0.0, 0.12, 13)  # millions of cycles
CRACK_CROSSINGS = [0.0875, 0.1000, 0.101053, 0.108462, 0.117500, None]


def own_line(times: Floats, values: Floats) -> tuple[float, float]:
    """Start and rate of one unit, when the population says nothing."""
    design = np.column_stack([np.ones_like(times), times])
    moments = mixed.moments_of(design, values, np.zeros(times.size, dtype=np.int_))
    means, _ = mixed.posterior(
        moments.cross, mean=np.zeros(2), cov=1e12 * np.eye(2), noise_variance=1.0
    )
    return float(means[0, 0]), float(means[0, 1])


def test_laser_pseudo_failure_times() -> None:
    """Meeker & Escobar (1998), chapter 13: the published hours, from lines with a free start."""
    times: Floats = np.linspace(0.0, 4.0, 17)
    rows = [np.array(line.split(), dtype=np.float64) for line in LASERS.strip().splitlines()]
    found = [passage.line_crossing(*own_line(times, row), 10.0) for row in rows]
    assert [1000 * each for each in found if each] == pytest.approx(LASER_LIVES, abs=0.6)


def test_a_falling_line_reaches_nothing() -> None:
    """Tobias & Trindade, Applied Reliability, 2nd ed., p. 201, unit 10 at 105 °C falls."""
    line = own_line(np.array([24.0, 96.0, 168.0]), np.array([0.6, 0.7, 0.3]))
    assert passage.line_crossing(*line, 30.0) is None


def test_crack_crossings() -> None:
    """Lu & Meeker (1993): first crossings of 1.60 in, by lines between the readings."""
    for crack, wanted in zip(CRACKS, CRACK_CROSSINGS, strict=True):
        values = np.array(crack)
        found = passage.first_crossing(CRACK_TIMES[: values.size], values, 1.60 - 1e-9)
        assert found == (None if wanted is None else pytest.approx(wanted, abs=1e-6))


def test_a_reading_that_starts_over_the_limit() -> None:
    assert passage.first_crossing(np.array([3.0, 4.0]), np.array([2.0, 1.0]), 1.5) == 3.0


MEAN = np.array([-0.4, 0.5])
COV = np.array([[0.04, 0.01], [0.01, 0.09]])


def test_reached_within_agrees_with_drawn_lines() -> None:
    """Two million drawn lines, of which those not yet at the limit count."""
    rng = np.random.default_rng(7)
    level, rate = rng.multivariate_normal(MEAN, COV, 2_000_000).T
    below = level < 0
    days = np.array([0.0, 30.0, 180.0, 365.0, 3650.0])
    found = passage.reached_within(MEAN[None], COV[None], days[None])[0]
    for day, share in zip(days, found, strict=True):
        drawn = np.mean(level[below] + rate[below] * day / YEAR_DAYS >= 0)
        assert share == pytest.approx(drawn, abs=1.5e-3)


def test_days_to_limit_turn_the_probability_round() -> None:
    low, middle, high = passage.days_to_limit(MEAN[None], COV[None], (0.1, 0.5, 0.9))[0]
    assert low < middle
    already = float(ndtr(MEAN[0] / np.sqrt(COV[0, 0])))
    ahead = passage.reached_within(MEAN[None], COV[None], np.array([[low, middle]]))[0]
    assert already + (1 - already) * ahead == pytest.approx([0.1, 0.5], abs=2e-3)
    assert np.isnan(high) or high > middle


def test_a_trend_past_the_limit_reaches_it_now() -> None:
    past = np.array([[0.1, 0.3]])
    low, middle, high = passage.days_to_limit(past, COV[None], (0.1, 0.5, 0.9))[0]
    assert (low, middle) == (0.0, 0.0)
    assert high > 0.0


def test_a_limit_that_is_never_reached_has_no_day() -> None:
    falling, sure = np.array([[-2.0, -0.5]]), 1e-4 * np.eye(2)[None]
    assert np.isnan(passage.days_to_limit(falling, sure, (0.1, 0.5))).all()


def test_halving_finds_what_every_day_of_the_grid_tells() -> None:
    """Against the whole distribution, worked out at each day of the grid, for drawn trends."""
    rng = np.random.default_rng(11)
    mean = np.column_stack([rng.uniform(-3.0, 0.2, 300), rng.uniform(-0.3, 0.9, 300)])
    half = rng.normal(0.0, 0.3, (300, 2, 2))
    cov = half @ half.transpose(0, 2, 1) + 1e-4 * np.eye(2)
    days = passage.LATEST_DAYS * np.linspace(0.0, 1.0, passage.GRID) ** 2
    already = ndtr(mean[:, :1] / np.sqrt(cov[:, :1, 0]))
    within = passage.reached_within(mean, cov, np.tile(days, (300, 1)))
    whole = np.maximum.accumulate(already + (1 - already) * within, axis=1)
    found = passage.days_to_limit(mean, cov, (0.1, 0.5, 0.9))
    for row, told in zip(whole, found, strict=True):
        for share, day in zip((0.1, 0.5, 0.9), told, strict=True):
            if row[-1] < share:
                assert np.isnan(day)
            else:
                assert day == pytest.approx(float(np.interp(share, row, days)), rel=1e-9, abs=1e-9)


def test_level_ahead_keeps_the_covariance() -> None:
    """Variance of level + years · rate, written out; and the shift of the origin undone."""
    mean, cov = passage.from_now(MEAN[None], COV[None], np.array([2.0]))
    assert mean[0] == pytest.approx([0.6, 0.5])
    assert cov[0, 0, 0] == pytest.approx(0.04 + 2 * 2 * 0.01 + 4 * 0.09)
    middle, variance = passage.level_ahead(mean, cov, np.array([[-2.0]]))
    assert (middle[0, 0], variance[0, 0]) == pytest.approx((-0.4, 0.04))
