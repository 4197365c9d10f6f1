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

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.optimize import minimize
from scipy.special import ndtr

from reports.trends import descent
from reports.trends.history import YEAR_DAYS, Floats
from reports.trends.passage import level_ahead
from reports.trends.segments import Counts

WINDOW_DAYS = 182.0  # between landmarks, and looked ahead from each, so that no day counts twice
HORIZONS_DAYS = (30, 90, 180, 365)  # days for which a probability is told

RATE_PER_YEAR = 0.08  # failures of any cause before any are known; assumption, no source
RATE_FAILURES = 1.0  # how many failures that assumption is worth; assumption, no source

# (log other, log over, shift, log width): assumptions, no source; wide, so that the fleet decides.
LINK_MEAN = (float(np.log(0.04)), float(np.log(1.2)), 0.0, float(np.log(0.2)))
LINK_SD = (1.0, 0.8, 0.4, 0.6)
LINK_REACH = 5.0  # standard deviations from the mean within which the link is looked for
GROUP_FAILURES = 6.0  # how many failures it takes to believe half of a group's own factor

_NODES, _PARTS = np.polynomial.legendre.leggauss(3)
_NODES, _PARTS = 0.5 * (_NODES + 1.0), 0.5 * _PARTS
_EDGES = np.concatenate([[0.0], np.array(HORIZONS_DAYS) / YEAR_DAYS])
_SPANS = np.diff(_EDGES)
_AHEAD = (_EDGES[:-1, None] + _SPANS[:, None] * _NODES).ravel()

LEAST_PROBABILITY = 1e-6  # nothing is certain; also keeps the logarithmic score finite
SAMPLE = 20_000  # landmarks from which the search for the link begins where there are more
CHUNK = 8_192  # landmarks worked out together: what they take stays in the processor's cache
_ROOT_TWO_PI = float(np.sqrt(2.0 * np.pi))


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
    """Trends of packs: mean (k, 2) and cov (k, 2, 2) of (level now, rate per year).

    rows (k,): which packs of those looked at, sorted; None for all of them.
    """

    mean: Floats
    cov: Floats
    rows: Counts | None = None

    def only(self, first: int, end: int, step: int = 1) -> "Route":
        """The trends of the packs first, first + step … before end, counted anew."""
        if self.rows is None:
            return Route(self.mean[first:end:step], self.cov[first:end:step])
        low, high = np.searchsorted(self.rows, [first, end])
        mine = low + np.flatnonzero((self.rows[low:high] - first) % step == 0)
        return Route(self.mean[mine], self.cov[mine], (self.rows[mine] - first) // step)

    def at(self, packs: Counts) -> "Route":
        """The trends of the packs (f,), sorted, counted anew."""
        if self.rows is None:
            return Route(self.mean[packs], self.cov[packs])
        mine = np.isin(self.rows, packs)
        return Route(self.mean[mine], self.cov[mine], np.searchsorted(packs, self.rows[mine]))


def base_rate(failures: float, years: float, *, around: float, worth: float) -> float:
    """Failures per pack-year: a gamma prior of mean `around`, worth so many failures, and data."""
    return (worth + failures) / (worth / around + years)


def base_probability(rate: float | Floats) -> Floats:
    """Probability of a failure of any cause within each horizon at a steady rate. (4,) or (k, 4)"""
    return _told(np.asarray(rate)[..., None] * _EDGES[1:])


def hazard(link: Link, routes: Sequence[Route], years: Floats) -> Floats:
    """Failures per pack-year, `years` (k, h) on; of several routes the worse counts. (k, h)"""
    over = np.zeros(years.shape)
    for route in routes:
        mine = slice(None) if route.rows is None else route.rows
        middle, variance = level_ahead(route.mean, route.cov, years[mine])
        reach = ndtr((middle - link.shift) / np.sqrt(link.width**2 + variance))
        over[mine] = np.maximum(over[mine], reach)
    return link.other + link.over * over


def probability(link: Link, factor: float | Floats, routes: Sequence[Route]) -> Floats:
    """Of a recorded failure within each horizon, for k packs. (k, 4), non-decreasing.

    factor: one for all, or (k, 1).
    """
    years = np.broadcast_to(_AHEAD, (len(routes[0].mean), _AHEAD.size))
    rates = hazard(link, routes, years).reshape(-1, _SPANS.size, _NODES.size)
    return _told(factor * np.cumsum((rates * _PARTS).sum(axis=2) * _SPANS, axis=1))


def _told(amount: Floats) -> Floats:
    chance: Floats = np.clip(-np.expm1(-amount), LEAST_PROBABILITY, 1.0 - LEAST_PROBABILITY)
    return chance


def expected(link: Link, routes: Sequence[Route], exposure_years: Floats) -> Floats:
    """Failures to be expected of each of k packs over its own exposure (k,). (k,)"""
    amount = np.zeros(exposure_years.size)
    for low, high in _chunks(exposure_years.size):
        mine = [route.only(low, high) for route in routes]
        rates = hazard(link, mine, exposure_years[low:high, None] * _NODES)
        amount[low:high] = (rates * _PARTS).sum(axis=1) * exposure_years[low:high]
    return amount


def _chunks(size: int) -> Iterable[tuple[int, int]]:
    return pairwise([*range(0, size, CHUNK), size])


def estimate_link(routes: Sequence[Route], exposure_years: Floats, failed: Floats) -> Link:
    """The link that the closed past supports. exposure_years (k,) to the failure, the last contact
    or the end of the window; failed (k,) 1 or 0.

    Found on some of the landmarks first where there are many, and from there on all of them.
    """
    whole = _Past(routes, exposure_years, failed, 1.0)
    some, step = whole, max(-(-exposure_years.size // SAMPLE), 1)
    if step > 1:
        thinned = [route.only(0, exposure_years.size, step) for route in routes]
        some = _Past(thinned, exposure_years[::step], failed[::step], 1.0 / step)
    near = _searched(some, np.array(LINK_MEAN))
    found = descent.descend(whole.cost, near, step * descent.curvature(some.cost, near))
    if found is None or not _within_reach(found):
        found = near if some is whole else _searched(whole, near)
    return _link(found)


def _within_reach(parameters: Floats) -> bool:
    away = np.abs(parameters - np.array(LINK_MEAN))
    return bool(np.all(away <= LINK_REACH * np.array(LINK_SD)))


def _searched(past: "_Past", start: Floats) -> Floats:
    reach = LINK_REACH * np.array(LINK_SD)
    bounds = list(zip(np.array(LINK_MEAN) - reach, np.array(LINK_MEAN) + reach, strict=True))
    found: Floats = minimize(past.cost, start, jac=True, method="L-BFGS-B", bounds=bounds).x
    return found


class _Past:
    """Minus the logarithm of the closed past's probability, by the link, with its slope.

    `prior`: how much of the prior counts, 1 where the landmarks are all there are.
    """

    def __init__(
        self, routes: Sequence[Route], exposure_years: Floats, failed: Floats, prior: float
    ) -> None:
        happened = np.flatnonzero(failed > 0)
        nodes = exposure_years[:, None] * _NODES
        weights = exposure_years[:, None] * _PARTS
        self.years, self.prior = float(exposure_years.sum()), prior
        self.watched = [
            (_ahead([route.only(low, high) for route in routes], nodes[low:high]), low, high)
            for low, high in _chunks(len(nodes))
        ]
        self.weights = weights
        self.at_failure = _ahead(
            [route.at(happened) for route in routes], exposure_years[happened][:, None]
        )

    def cost(self, parameters: Floats) -> tuple[float, Floats]:
        """At (log other, log over, shift, log width): the value, and its derivatives (4,)."""
        link = _link(parameters)
        reached = np.zeros(3)  # over all that was watched: Φ, and its two derivatives
        for ahead, low, high in self.watched:
            weights = self.weights[low:high]
            reached += [np.einsum("kh,kh->", part, weights) for part in _reach(link, ahead)]
        over, by_shift, by_width = _reach(link, self.at_failure)
        rate = link.other + link.over * over
        value = link.other * self.years + link.over * reached[0] - np.log(rate).sum()
        slope = np.array(
            [
                link.other * (self.years - (1.0 / rate).sum()),
                link.over * (reached[0] - (over / rate).sum()),
                link.over * (reached[1] - (by_shift / rate).sum()),
                link.over * (reached[2] - (by_width / rate).sum()),
            ]
        )
        away = (parameters - np.array(LINK_MEAN)) / np.array(LINK_SD)
        told: Floats = slope + self.prior * away / np.array(LINK_SD)
        return float(value + 0.5 * self.prior * away @ away), told


Ahead = list[tuple[Floats, Floats, Counts | slice]]


def _ahead(routes: Sequence[Route], years: Floats) -> Ahead:
    """Mean and variance of the level `years` (k, h) on, by route, and whose it is."""
    found: Ahead = []
    for route in routes:
        mine = slice(None) if route.rows is None else route.rows
        found.append((*level_ahead(route.mean, route.cov, years[mine]), mine))
    return found


def _reach(link: Link, ahead: Ahead) -> tuple[Floats, Floats, Floats]:
    """Φ of the worse route, and its derivatives by shift and by log width. (k, h) each"""
    (first_middle, first_variance, _), *others = ahead
    told = _reach_one(link, first_middle, first_variance)
    for middle, variance, mine in others:
        theirs = _reach_one(link, middle, variance)
        worse = theirs[0] > told[0][mine]
        for part, their_part in zip(told, theirs, strict=True):
            part[mine] = np.where(worse, their_part, part[mine])
    return told


def _reach_one(link: Link, middle: Floats, variance: Floats) -> tuple[Floats, Floats, Floats]:
    precision = 1.0 / (variance + link.width**2)
    root = np.sqrt(precision)
    z = (middle - link.shift) * root
    by_shift = np.exp(-0.5 * z * z) * root * (-1.0 / _ROOT_TWO_PI)
    by_width = by_shift * z * root * link.width**2
    return ndtr(z), by_shift, by_width


def _link(parameters: Floats) -> Link:
    return Link(
        float(np.exp(parameters[0])),
        float(np.exp(parameters[1])),
        float(parameters[2]),
        float(np.exp(parameters[3])),
    )
