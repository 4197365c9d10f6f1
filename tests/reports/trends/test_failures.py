"""From a trend to a recorded failure."""

import numpy as np
import pytest

from reports.trends import failures
from reports.trends.failures import Link, Route


def routes(*levels: float, rate: float = 0.0) -> list[Route]:
    mean = np.column_stack([np.array(levels), np.full(len(levels), rate)])
    return [Route(mean, np.zeros((len(levels), 2, 2)))]


def test_the_base_rate_without_and_with_data() -> None:
    """A gamma prior worth one failure at 0.1 a year is worth ten pack-years."""
    assert failures.base_rate(0, 0, around=0.1, worth=1.0) == pytest.approx(0.1)
    assert failures.base_rate(0, 10, around=0.1, worth=1.0) == pytest.approx(0.05)
    assert failures.base_rate(1000, 10000, around=0.5, worth=1.0) == pytest.approx(0.1, rel=0.01)


def test_a_steady_rate_gives_the_exponential() -> None:
    told = failures.base_probability(0.2)
    assert told == pytest.approx(1 - np.exp(-0.2 * np.array([30, 90, 180, 365]) / 365.25))


def test_far_below_and_far_above_the_limit_the_hazard_is_plain() -> None:
    link = Link(other=0.1, over=1.0, shift=0.0, width=0.1)
    low, high = failures.probability(link, 1.0, routes(-3.0, 3.0))
    years = np.array([30, 90, 180, 365]) / 365.25
    assert low == pytest.approx(1 - np.exp(-0.1 * years))
    assert high == pytest.approx(1 - np.exp(-1.1 * years))


def test_the_worse_route_counts() -> None:
    link = Link(other=0.1, over=1.0, shift=0.0, width=0.1)
    both = failures.probability(link, 1.0, [*routes(-3.0), *routes(0.1)])
    assert both == pytest.approx(failures.probability(link, 1.0, routes(0.1)))


def test_probabilities_stay_inside_and_rise() -> None:
    link = Link(other=1e-12, over=1e6, shift=0.0, width=0.1)
    told = failures.probability(link, 1.0, routes(-50.0, -1.0, 50.0, rate=1.0))
    assert np.all(told > 0)
    assert np.all(told < 1)
    assert np.all(np.diff(told, axis=1) >= 0)


def test_without_a_past_the_link_is_the_prior() -> None:
    nothing = [Route(np.zeros((0, 2)), np.zeros((0, 2, 2)))] * 2
    found = failures.estimate_link(nothing, np.zeros(0), np.zeros(0))
    assert found == failures.PRIOR_LINK


def test_the_link_is_found_again() -> None:
    """Failures drawn from a known hazard, half a year at a time, some lost from sight."""
    rng = np.random.default_rng(5)
    truth = Link(other=0.08, over=3.0, shift=0.25, width=0.15)
    k = 40_000
    known = routes(*rng.uniform(-2.0, 1.0, k))
    rate = failures.hazard(truth, known, np.zeros((k, 1)))[:, 0]
    watched = np.minimum(0.5, rng.exponential(2.0, k))
    fails = rng.exponential(1.0 / rate)
    found = failures.estimate_link(
        known, np.minimum(fails, watched), (fails < watched).astype(float)
    )
    assert found.other == pytest.approx(truth.other, rel=0.1)
    assert found.over == pytest.approx(truth.over, rel=0.1)
    assert found.shift == pytest.approx(truth.shift, abs=0.03)
    assert found.width == pytest.approx(truth.width, abs=0.04)
