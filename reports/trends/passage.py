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


def from_now(mean: Floats, cov: Floats, age_years: Floats) -> tuple[Floats, Floats]:
    """(start, rate) to (level now, rate). mean (k, 2), cov (k, 2, 2), age_years (k,)."""
    shift = np.broadcast_to(np.eye(2), cov.shape).copy()
    shift[:, 0, 1] = age_years
    return np.einsum("kij,kj->ki", shift, mean), shift @ cov @ shift.transpose(0, 2, 1)


def level_ahead(mean: Floats, cov: Floats, years: Floats) -> tuple[Floats, Floats]:
    """Mean and variance of the level some years on. mean (k, 2), cov (k, 2, 2), years (k, h)."""
    middle = mean[:, :1] + years * mean[:, 1:]
    variance = cov[:, :1, 0] + 2.0 * years * cov[:, :1, 1] + years**2 * cov[:, 1:, 1]
    return middle, np.maximum(variance, 0.0)


def reached_within(mean: Floats, cov: Floats, days: Floats) -> Floats:
    """Probability that level 0 is reached within `days` (h,), given that it is not yet. (h,)

    mean (2,), cov (2, 2) of (level now, rate per year). The level now is integrated over what
    of its distribution lies below 0, the rate given the level is normal. Non-decreasing in days.
    """
    sd = float(np.sqrt(max(cov[0, 0], 1e-18)))
    below = max(float(ndtr(-mean[0] / sd)), 1e-300)
    level = np.minimum(mean[0] + sd * ndtri(np.maximum(below * _SHARES, 1e-300)), 0.0)
    lean = cov[0, 1] / sd**2
    middle = mean[1] + lean * (level - mean[0])
    rate_sd = float(np.sqrt(max(cov[1, 1] - lean * cov[0, 1], 1e-18)))
    years = np.maximum(days, 1e-9)[:, None] / YEAR_DAYS
    share = ndtr((middle + level / years) / rate_sd)
    within: Floats = np.where(days > 0, share @ _PARTS, 0.0)
    return within


def days_to_limit(mean: Floats, cov: Floats, shares: Sequence[float]) -> tuple[float | None, ...]:
    """Days from now by which the limit is reached with each probability; None: beyond 20 years.

    A trend that has probably passed the limit already, though no reading showed it, says 0.
    """
    already = float(ndtr(mean[0] / np.sqrt(max(cov[0, 0], 1e-18))))
    ahead = np.maximum.accumulate(reached_within(mean, cov, _DAYS))
    within = already + (1.0 - already) * ahead
    return tuple(
        float(np.interp(share, within, _DAYS)) if within[-1] >= share else None for share in shares
    )


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
