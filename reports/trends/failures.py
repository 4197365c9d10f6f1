"""From a spread and its trend to a recorded failure.

What the car or the bench said counts as a failure; a crossing of our own limit does not. The
hazard is that of all other causes, plus one that comes in as the level passes some threshold near
our limit:

    h(t) = other + over · Φ((level(t) − shift) / width)

averaged over what is not known of the level. All four are estimated on the shop's own closed past:
at landmarks half a year apart, from what was known then, against what was recorded after, up to
the last contact (a silent pack counts as not failed only so far). Named priors hold them where few
have failed. The population's parameters are those of the whole past, so the past is told a little
too well.
"""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize
from scipy.special import ndtr

from reports.trends.history import YEAR_DAYS, Floats
from reports.trends.passage import level_ahead

WINDOW_DAYS = 182.0  # between landmarks, and looked ahead from each, so that no day counts twice
HORIZONS_DAYS = (30, 90, 180, 365)  # days for which a probability is told

RATE_PER_YEAR = 0.08  # failures of any cause before any are known; assumption, no source
RATE_FAILURES = 1.0  # how many failures that assumption is worth; assumption, no source

# (log other, log over, shift, log width): assumptions, no source; wide, so that the fleet decides.
LINK_MEAN = (float(np.log(0.04)), float(np.log(1.2)), 0.0, float(np.log(0.2)))
LINK_SD = (1.0, 0.8, 0.4, 0.6)
GROUP_FAILURES = 6.0  # how many failures it takes to believe half of a group's own factor

_NODES, _PARTS = np.polynomial.legendre.leggauss(3)
_NODES, _PARTS = 0.5 * (_NODES + 1.0), 0.5 * _PARTS
_EDGES = np.concatenate([[0.0], np.array(HORIZONS_DAYS) / YEAR_DAYS])
_SPANS = np.diff(_EDGES)
_AHEAD = (_EDGES[:-1, None] + _SPANS[:, None] * _NODES).ravel()

LEAST_PROBABILITY = 1e-6  # nothing is certain; also keeps the logarithmic score finite


@dataclass(frozen=True)
class Link:
    """other, over: failures per pack-year. shift, width: in the logarithm of spread over limit."""

    other: float
    over: float
    shift: float
    width: float


PRIOR_LINK = Link(
    float(np.exp(LINK_MEAN[0])),
    float(np.exp(LINK_MEAN[1])),
    LINK_MEAN[2],
    float(np.exp(LINK_MEAN[3])),
)


@dataclass(frozen=True, eq=False)
class Route:
    """Trends of k packs: mean (k, 2) and cov (k, 2, 2) of (level now, rate per year)."""

    mean: Floats
    cov: Floats


def base_rate(failures: float, years: float, *, around: float, worth: float) -> float:
    """Failures per pack-year: a gamma prior of mean `around`, worth so many failures, and data."""
    return (worth + failures) / (worth / around + years)


def base_probability(rate: float) -> Floats:
    """Probability of a failure of any cause within each horizon at a steady rate. (4,)"""
    return _told(rate * _EDGES[1:])


def hazard(link: Link, routes: list[Route], years: Floats) -> Floats:
    """Failures per pack-year, `years` (k, h) on; of several routes the worse counts. (k, h)"""
    over = np.zeros(years.shape)
    for route in routes:
        middle, variance = level_ahead(route.mean, route.cov, years)
        reach = ndtr((middle - link.shift) / np.sqrt(link.width**2 + variance))
        over = np.maximum(over, reach)
    return link.other + link.over * over


def probability(link: Link, factor: float, routes: list[Route]) -> Floats:
    """Of a recorded failure within each horizon, for k packs. (k, 4), non-decreasing."""
    years = np.broadcast_to(_AHEAD, (len(routes[0].mean), _AHEAD.size))
    rates = hazard(link, routes, years).reshape(-1, _SPANS.size, _NODES.size)
    return _told(factor * np.cumsum((rates @ _PARTS) * _SPANS, axis=1))


def _told(amount: Floats) -> Floats:
    chance: Floats = np.clip(-np.expm1(-amount), LEAST_PROBABILITY, 1.0 - LEAST_PROBABILITY)
    return chance


def expected(link: Link, routes: list[Route], exposure_years: Floats) -> Floats:
    """Failures to be expected of each of k packs over its own exposure (k,). (k,)"""
    rates = hazard(link, routes, exposure_years[:, None] * _NODES)
    amount: Floats = (rates @ _PARTS) * exposure_years
    return amount


def estimate_link(routes: list[Route], exposure_years: Floats, failed: Floats) -> Link:
    """The link that the closed past supports. exposure_years (k,) to the failure, the last contact
    or the end of the window; failed (k,) 1 or 0."""
    happened = np.flatnonzero(failed > 0)
    at_failure = [Route(each.mean[happened], each.cov[happened]) for each in routes]
    when = exposure_years[happened][:, None]

    def cost(parameters: Floats) -> float:
        link = _link(parameters)
        told = np.log(hazard(link, at_failure, when)).sum()
        away = (parameters - np.array(LINK_MEAN)) / np.array(LINK_SD)
        return float(expected(link, routes, exposure_years).sum() - told + 0.5 * away @ away)

    found = minimize(
        cost,
        np.array(LINK_MEAN),
        method="L-BFGS-B",
        bounds=[(m - 5 * s, m + 5 * s) for m, s in zip(LINK_MEAN, LINK_SD, strict=True)],
    )
    return _link(found.x)


def _link(parameters: Floats) -> Link:
    return Link(
        float(np.exp(parameters[0])),
        float(np.exp(parameters[1])),
        float(parameters[2]),
        float(np.exp(parameters[3])),
    )
