"""The outlook of one pack: how it is doing, when its limit comes, how likely it fails, and why.

`judge` takes what was known and a fit, and nothing else, so the same records and the same fit give
the same figures. A pack with too few checks in its present build gets its group's steady rate.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from reports.trends import evidence, failures, passage, reasons
from reports.trends.fits import Fit, GroupFit
from reports.trends.fleet import LEAST_CHECKS, routes_of
from reports.trends.history import Floats, PackHistory, since, through

NEAR_SHARE = 0.8  # of the limit: from here the shop speaks to the owner; common practice, no source
NEAR_DAYS = 90.0  # a limit more likely than not within one service interval is near; same
NEAR_CHANCE = 0.5  # more likely than not
DRIFT_DAYS = 365.0  # growth that matters before the next yearly visit; common practice, no source
DRIFT_CHANCE = 0.1  # of the limit in DRIFT_DAYS: one in ten is worth a look; common practice
DRIFT_PER_YEAR = 0.1  # growth that a year's use may bring without a fault; assumption, no source
DRIFT_SURE = 0.9  # how sure such growth must be; common practice, no source
DRIFT_SHARE = 0.25  # of the limit: below this even sure growth is years away; assumption, no source
SHARES = (0.1, 0.5, 0.9)  # of the distribution of the day that the limit is reached
DIGITS = 6  # significant digits that are kept
MOST_GROWTH = 1e3  # growth per year is not told above this: two checks of one day say nothing

Days = tuple[float | None, float | None, float | None]


@dataclass(frozen=True)
class Figures:
    """growth_per_year: relative growth of the spread, 0.35 = 35 % a year. failure_probability: by
    horizon in days. limit_reached_days: by SHARES, days since 1970-01-01. weakest_position from
    1."""

    level: str
    spread_now_v: float | None
    growth_per_year: float | None
    failure_probability: Mapping[int, float]
    limit_reached_days: Days | None
    weakest_position: int | None
    checks_used: int
    since_day: float
    reasons: tuple[str, ...]


def significant(x: float, digits: int = DIGITS) -> float:
    """x rounded to so many significant digits."""
    return float(f"{x:.{digits - 1}e}")


def judge(history: PackHistory, fit: Fit, *, as_of_day: float) -> Figures:
    """The outlook as of a day, from facts dated up to it."""
    known = through(history, as_of_day)
    found = evidence.gather(known, np.array([as_of_day]))
    group = fit.group(known.group)
    if int(found.checks[0]) < LEAST_CHECKS:
        return _too_little(known, found, group, as_of_day)
    routes = [routes_of(found.cross, found.age_years, group)]
    if int(found.own_checks[0]) >= LEAST_CHECKS:
        routes.append(routes_of(found.own_cross, found.own_age_years, group))
    return _figures(known, found, fit, routes, as_of_day)


def _too_little(
    known: PackHistory, found: evidence.Evidence, group: GroupFit, day: float
) -> Figures:
    """No trend yet: the group's steady rate, and the one reading there may be."""
    checks = int(found.checks[0])
    chance = failures.base_probability(group.failures_per_year)
    return Figures(
        level="too_little_data",
        spread_now_v=significant(float(known.spread_v[-1])) if checks else None,
        growth_per_year=None,
        failure_probability=_by_horizon(chance),
        limit_reached_days=None,
        weakest_position=evidence.weakest_position(known, day),
        checks_used=checks,
        since_day=since(known),
        reasons=reasons.too_little(known, found),
    )


def _by_horizon(chance: Floats) -> dict[int, float]:
    return {
        days: significant(float(p)) for days, p in zip(failures.HORIZONS_DAYS, chance, strict=True)
    }


def _figures(
    known: PackHistory,
    found: evidence.Evidence,
    fit: Fit,
    routes: list[failures.Route],
    day: float,
) -> Figures:
    group = fit.group(known.group)
    spread_v, growth = _spread_and_growth(known, routes[0])
    level = _level(known, routes, spread_v)
    chance = failures.probability(fit.link, group.factor, routes)[0]
    return Figures(
        level=level,
        spread_now_v=significant(spread_v),
        growth_per_year=significant(growth),
        failure_probability=_by_horizon(chance),
        limit_reached_days=_limit_days(known, routes, level, day),
        weakest_position=evidence.weakest_position(known, day),
        checks_used=int(found.checks[0]),
        since_day=since(known),
        reasons=reasons.trend(known, found, group, _sure_growth(routes[0]) >= DRIFT_SURE),
    )


def _spread_and_growth(known: PackHistory, route: failures.Route) -> tuple[float, float]:
    """Spread expected now, V, noise floor included, and its relative growth per year."""
    floor = evidence.floor_v(known)
    limit = float(evidence.above_floor(np.array(known.limit_v), floor))
    excess = limit * float(np.exp(np.clip(route.mean[0, 0], -20.0, 20.0)))
    spread_v = float(np.hypot(excess, floor))
    rate = float(route.mean[0, 1]) * (excess / spread_v) ** 2
    return spread_v, float(min(np.expm1(min(rate, np.log(MOST_GROWTH))), MOST_GROWTH))


def _within(routes: list[failures.Route], days: float) -> float:
    """Probability that the limit is reached within `days`, by the worse route."""
    ahead = np.array([days])
    return max(float(passage.reached_within(r.mean[0], r.cov[0], ahead)[0]) for r in routes)


def _sure_growth(route: failures.Route) -> float:
    """Probability that the spread grows by more than a year's use may bring."""
    sd = float(np.sqrt(route.cov[0, 1, 1]))
    return float(ndtr((route.mean[0, 1] - np.log1p(DRIFT_PER_YEAR)) / sd))


def _level(known: PackHistory, routes: list[failures.Route], spread_v: float) -> str:
    """Where the pack stands: measured first, then what the trend says of the time ahead."""
    if known.spread_v[-1] >= known.limit_v:
        return "over_limit"
    near = max(spread_v, float(known.spread_v[-1])) >= NEAR_SHARE * known.limit_v
    if near or _within(routes, NEAR_DAYS) >= NEAR_CHANCE:
        return "near_limit"
    if _within(routes, DRIFT_DAYS) >= DRIFT_CHANCE:
        return "drifting"
    sure = max(_sure_growth(route) for route in routes) >= DRIFT_SURE
    return "drifting" if sure and spread_v >= DRIFT_SHARE * known.limit_v else "settled"


def _limit_days(
    known: PackHistory, routes: list[failures.Route], level: str, day: float
) -> Days | None:
    """Days at which the limit is reached, or the day it was where it has been."""
    if level == "over_limit":
        mine = known.days >= since(known)
        crossed = passage.first_crossing(known.days[mine], known.spread_v[mine], known.limit_v)
        when = significant(day if crossed is None else crossed, DAY_DIGITS)
        return when, when, when
    told = [passage.days_to_limit(r.mean[0], r.cov[0], SHARES) for r in routes]
    by_share = zip(*told, strict=True)
    early = [min((d for d in each if d is not None), default=None) for each in by_share]
    if early[0] is None:
        return None
    low, middle, high = (None if d is None else significant(day + d, DAY_DIGITS) for d in early)
    return low, middle, high


DAY_DIGITS = 8  # of a day since 1970, five of them before the point: to about a minute and a half
