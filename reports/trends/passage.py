"""When a straight trend reaches its limit.

A unit's trend is (level now, rate per year), jointly normal; the limit is level 0. Acceleration is
left out. Meeker & Escobar (1998) Statistical Methods for Reliability Data, chapter 13, for the path
model and its first passage.
"""

from collections.abc import Sequence

import numpy as np
from scipy.special import ndtr, ndtri

from reports.trends.history import YEAR_DAYS, Floats

LATEST_DAYS = 20 * YEAR_DAYS  # a day further off than this is told as none; longer than cars last
GRID = 120  # days at which the distribution is worked out, closer together near now
NODES = 40  # of the Gauss–Legendre rule over the level now

_POINTS, _WEIGHTS = np.polynomial.legendre.leggauss(NODES)
_SHARES = 0.5 * (_POINTS + 1.0)
_PARTS = 0.5 * _WEIGHTS
_DAYS = LATEST_DAYS * np.linspace(0.0, 1.0, GRID) ** 2
_HALVINGS = int(np.ceil(np.log2(GRID)))


def from_now(mean: Floats, cov: Floats, age_years: Floats) -> tuple[Floats, Floats]:
    """(start, rate) to (level now, rate). mean (k, 2), cov (k, 2, 2), age_years (k,)."""
    now_mean, now_cov = mean.copy(), cov.copy()
    now_mean[:, 0] += age_years * mean[:, 1]
    lean = cov[:, 0, 1] + age_years * cov[:, 1, 1]
    now_cov[:, 0, 0] += age_years * (cov[:, 0, 1] + lean)
    now_cov[:, 0, 1] = now_cov[:, 1, 0] = lean
    return now_mean, now_cov


def level_ahead(mean: Floats, cov: Floats, years: Floats) -> tuple[Floats, Floats]:
    """Mean and variance of the level some years on. mean (k, 2), cov (k, 2, 2), years (k, h)."""
    middle = mean[:, :1] + years * mean[:, 1:]
    variance = cov[:, :1, 0] + 2.0 * years * cov[:, :1, 1] + years**2 * cov[:, 1:, 1]
    return middle, np.maximum(variance, 0.0)


def _levels(mean: Floats, cov: Floats) -> tuple[Floats, Floats, Floats]:
    """Levels below 0 at the nodes, the middle of the rate at each, and the rate's own deviation.

    mean (k, 2), cov (k, 2, 2) → (k, 40), (k, 40), (k, 1)
    """
    sd = np.sqrt(np.maximum(cov[:, :1, 0], 1e-18))
    start, rate, lean = mean[:, :1], mean[:, 1:], cov[:, :1, 1] / sd**2
    below = np.maximum(ndtr(-start / sd), 1e-300)
    level = np.minimum(start + sd * ndtri(np.maximum(below * _SHARES, 1e-300)), 0.0)
    rate_sd = np.sqrt(np.maximum(cov[:, 1:, 1] - lean * cov[:, :1, 1], 1e-18))
    return level, rate + lean * (level - start), rate_sd


def _within(levels: tuple[Floats, Floats, Floats], days: Floats) -> Floats:
    """Probability that level 0 is reached within days (k, h), given that it is not yet. (k, h)"""
    level, middle, rate_sd = (part[:, None, :] for part in levels)
    years = np.maximum(days, 1e-9)[:, :, None] / YEAR_DAYS
    share = (ndtr((middle + level / years) / rate_sd) * _PARTS).sum(axis=2)
    within: Floats = np.where(days > 0, share, 0.0)
    return within


def reached_within(mean: Floats, cov: Floats, days: Floats) -> Floats:
    """Probability that level 0 is reached within `days` (k, h), given that it is not yet. (k, h)

    mean (k, 2), cov (k, 2, 2) of (level now, rate per year). The level now is integrated over what
    of its distribution lies below 0, the rate given the level is normal. Non-decreasing in days.
    """
    return _within(_levels(mean, cov), days)


def days_to_limit(mean: Floats, cov: Floats, shares: Sequence[float]) -> Floats:
    """Days from now by which the limit is reached with each probability. (k, len(shares))

    NaN: beyond 20 years. A trend that has probably passed the limit already, though no reading
    showed it, says 0. Between the days of a fixed grid the probability is taken as straight; as it
    never falls, the two of them that a share lies between are found by halving.
    """
    already = ndtr(mean[:, :1] / np.sqrt(np.maximum(cov[:, :1, 0], 1e-18)))
    levels, wanted = _levels(mean, cov), np.asarray(shares, dtype=np.float64)[None, :]
    top = already + (1.0 - already) * _within(levels, np.full((len(mean), 1), LATEST_DAYS))
    days = np.where(already >= wanted, 0.0, np.nan)
    which, share = np.nonzero((already < wanted) & (top >= wanted))
    some = levels[0][which], levels[1][which], levels[2][which]
    days[which, share] = _between(some, already[which, 0], top[which, 0], wanted[0, share])
    return days


def _between(
    levels: tuple[Floats, Floats, Floats], now: Floats, last: Floats, wanted: Floats
) -> Floats:
    """The day by which each probability (k,) is reached, above that of now and not above that of
    the last day of the grid."""
    low, high = np.zeros(wanted.size, dtype=np.int_), np.full(wanted.size, GRID - 1)
    under_v, over_v = now, last
    for _ in range(_HALVINGS):
        place = (low + high) // 2
        found = now + (1.0 - now) * _within(levels, _DAYS[place][:, None])[:, 0]
        under = found < wanted
        low, under_v = np.where(under, place, low), np.where(under, found, under_v)
        high, over_v = np.where(under, high, place), np.where(under, over_v, found)
    rise = np.maximum(over_v - under_v, 1e-300)
    part = np.clip((wanted - under_v) / rise, 0.0, 1.0)
    days: Floats = _DAYS[low] + part * (_DAYS[high] - _DAYS[low])
    return days


def line_crossing(start: float, rate: float, limit: float) -> float | None:
    """When start + rate · t reaches the limit from below; None where it does not rise to it."""
    if rate <= 0.0:
        return None
    return max((limit - start) / rate, 0.0)


def first_crossing(times: Floats, values: Floats, limit: float) -> float | None:
    """When readings first reach the limit, straight lines between them. times, values (n,)."""
    reached = np.flatnonzero(values >= limit)
    if not reached.size:
        return None
    k = int(reached[0])
    if k == 0:
        return float(times[0])
    share = (limit - values[k - 1]) / (values[k] - values[k - 1])
    return float(times[k - 1] + share * (times[k] - times[k - 1]))
