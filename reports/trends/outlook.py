"""The outlook of packs: how they are doing, when their limit comes, how likely they fail, and why.

What was known and a fit are taken, and nothing else, so the same records and the same fit give the
same figures, for one pack by itself as among many. A pack with too few checks in its present build
gets its group's steady rate.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import isnan

import numpy as np
from scipy.special import ndtr

from reports.trends import evidence, failures, passage, reasons
from reports.trends.evidence import Evidence
from reports.trends.failures import Route
from reports.trends.fits import Fit, GrowthTable, growth_table
from reports.trends.fleet import LEAST_CHECKS, routes_of
from reports.trends.histories import Histories, together
from reports.trends.history import Bools, Floats, PackHistory
from reports.trends.segments import Counts

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
DAY_DIGITS = 8  # of a day since 1970, five of them before the point: to about a minute and a half
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
    """The outlook of one pack as of a day, from facts dated up to it."""
    return judge_all(together([history]), fit, as_of_day=np.array([as_of_day]))[0]


def judge_all(packs: Histories, fit: Fit, *, as_of_day: Floats) -> list[Figures]:
    """The outlook of each pack as of a day of its own (n,), from facts dated up to it."""
    known = packs.up_to(as_of_day)
    found = evidence.gather(known, np.arange(known.size), as_of_day)
    table = growth_table([fit.group(name) for name in known.names]).of(known.group)
    told = _trends(known, found, fit, table, as_of_day)
    seen = reasons.seen(known, found, _since(known))
    weakest = evidence.weakest_positions(known, found.last).tolist()
    steady = failures.base_probability(table.failures_per_year).tolist()
    return [
        _too_little(seen[pack], steady[pack], weakest[pack])
        if place < 0
        else _figures(seen[pack], told, place, weakest[pack])
        for pack, place in enumerate(told.place)
    ]


def _since(known: Histories) -> Floats:
    """Start of each pack's present build: its last renewal, or the first day observed. (n,)"""
    start, end = known.entry_day.copy(), known.renewal_edges[1:]
    some = end > known.renewal_edges[:-1]
    start[some] = known.renewal_days[end[some] - 1]
    return start


@dataclass(frozen=True, eq=False)
class _Trends:
    """Of the m packs that have a trend; `place` among them of each of the n packs, −1 for none.

    growing: faster than a year's use explains; per_ten_degrees: effect of temperature on the
    logarithm; chance by horizon; days of the limit by SHARES, NaN for none.
    """

    place: list[int]
    levels: list[str]
    spread_v: list[float]
    growth: list[float]
    growing: list[bool]
    per_ten_degrees: list[float]
    chance: list[list[float]]
    days: list[list[float]]


def _trends(
    known: Histories, found: Evidence, fit: Fit, table: GrowthTable, as_of_day: Floats
) -> _Trends:
    enough = found.checks >= LEAST_CHECKS
    pack, place = np.flatnonzero(enough), np.where(enough, np.cumsum(enough) - 1, -1)
    routes, growth = _routes(found, table, place), table.of(pack)
    limit_v, last_v = known.limit_v[pack], known.spread_v[found.last[pack]]
    spread_v, rate = _spread_and_growth(known, pack, routes[0])
    sure = [_sure_growth(route) for route in routes]
    growing = _worst(sure, routes) >= DRIFT_SURE
    levels = _levels(last_v, spread_v, limit_v, routes, growing)
    days = _limit_days(routes, as_of_day[pack])
    over = np.flatnonzero(last_v >= limit_v)
    days[over] = _crossings(known, found, pack[over], as_of_day[pack[over]])[:, None]
    return _Trends(
        place=place.tolist(),
        levels=levels,
        spread_v=spread_v.tolist(),
        growth=rate.tolist(),
        growing=(sure[0] >= DRIFT_SURE).tolist(),
        per_ten_degrees=growth.temperature.tolist(),
        chance=failures.probability(fit.link, growth.factor[:, None], routes).tolist(),
        days=days.tolist(),
    )


def _routes(found: Evidence, table: GrowthTable, place: Counts) -> list[Route]:
    """The packs' trends, and those of older positions that are followed. place (n,), −1 for none"""
    pack = np.flatnonzero(place >= 0)
    told = (place[found.own_mark] >= 0) & (found.own_checks >= LEAST_CHECKS)
    mark = found.own_mark[told]
    own = routes_of(found.own_cross[told], found.own_age_years[told], table.of(mark), place[mark])
    return [routes_of(found.cross[pack], found.age_years[pack], table.of(pack)), own]


def _too_little(seen: reasons.Seen, chance: Sequence[float], weakest: int) -> Figures:
    """No trend yet: the group's steady rate, and the one reading there may be."""
    return Figures(
        level="too_little_data",
        spread_now_v=significant(seen.spread_v) if seen.checks else None,
        growth_per_year=None,
        failure_probability=_by_horizon(chance),
        limit_reached_days=None,
        weakest_position=weakest or None,
        checks_used=seen.checks,
        since_day=seen.since_day,
        reasons=reasons.too_little(seen),
    )


def _by_horizon(chance: Sequence[float]) -> dict[int, float]:
    return {days: significant(p) for days, p in zip(failures.HORIZONS_DAYS, chance, strict=True)}


def _figures(seen: reasons.Seen, told: _Trends, place: int, weakest: int) -> Figures:
    return Figures(
        level=told.levels[place],
        spread_now_v=significant(told.spread_v[place]),
        growth_per_year=significant(told.growth[place]),
        failure_probability=_by_horizon(told.chance[place]),
        limit_reached_days=_days(told.days[place]),
        weakest_position=weakest or None,
        checks_used=seen.checks,
        since_day=seen.since_day,
        reasons=reasons.trend(seen, told.per_ten_degrees[place], told.growing[place]),
    )


def _days(days: Sequence[float]) -> Days | None:
    """As told: None for a day beyond the years that are looked at."""
    if isnan(days[0]):
        return None
    low, middle, high = (None if isnan(day) else significant(day, DAY_DIGITS) for day in days)
    return low, middle, high


def _spread_and_growth(known: Histories, pack: Counts, route: Route) -> tuple[Floats, Floats]:
    """Spread expected now, V, noise floor included, and its relative growth per year. (m,), (m,)"""
    limit_v = known.limit_v[pack]
    floor = evidence.floors_v(known.positions[pack], limit_v)
    limit = evidence.above_floor(limit_v, floor)
    excess = limit * np.exp(np.clip(route.mean[:, 0], -20.0, 20.0))
    spread_v = np.hypot(excess, floor)
    rate = route.mean[:, 1] * (excess / spread_v) ** 2
    growth = np.expm1(np.minimum(rate, np.log(MOST_GROWTH)))
    return spread_v, np.minimum(growth, MOST_GROWTH)


def _worst(values: Sequence[Floats], routes: Sequence[Route]) -> Floats:
    """The greatest of what the routes say of each pack. (m, …)"""
    worst = values[0].copy()
    for value, route in zip(values[1:], routes[1:], strict=True):
        worst[route.rows] = np.maximum(worst[route.rows], value)
    return worst


def _sure_growth(route: Route) -> Floats:
    """Probability that the spread grows by more than a year's use may bring. (k,)"""
    away = (route.mean[:, 1] - np.log1p(DRIFT_PER_YEAR)) / np.sqrt(route.cov[:, 1, 1])
    sure: Floats = ndtr(away)
    return sure


def _levels(
    last_v: Floats, spread_v: Floats, limit_v: Floats, routes: Sequence[Route], growing: Bools
) -> list[str]:
    """Where the packs stand: measured first, then what the trend says of the time ahead."""
    ahead = [
        passage.reached_within(
            route.mean, route.cov, np.tile([NEAR_DAYS, DRIFT_DAYS], (len(route.mean), 1))
        )
        for route in routes
    ]
    within = _worst(ahead, routes)
    near = np.maximum(spread_v, last_v) >= NEAR_SHARE * limit_v
    told: list[str] = np.select(
        [
            last_v >= limit_v,
            near | (within[:, 0] >= NEAR_CHANCE),
            within[:, 1] >= DRIFT_CHANCE,
            growing & (spread_v >= DRIFT_SHARE * limit_v),
        ],
        ["over_limit", "near_limit", "drifting", "drifting"],
        "settled",
    ).tolist()
    return told


def _limit_days(routes: Sequence[Route], day: Floats) -> Floats:
    """Days at which the limit is reached with each of SHARES, NaN for none. day (m,) → (m, 3)"""
    ahead = [passage.days_to_limit(route.mean, route.cov, SHARES) for route in routes]
    sooner = _worst([np.where(np.isnan(days), -np.inf, -days) for days in ahead], routes)
    return np.where(np.isinf(sooner), np.nan, day[:, None] - sooner)


def _crossings(known: Histories, found: Evidence, packs: Counts, day: Floats) -> Floats:
    """When the present build of each pack, over its limit now, first reached it. (k,)"""
    crossed = day.copy()
    for place, pack in enumerate(packs.tolist()):
        mine = slice(found.last[pack] + 1 - found.checks[pack], found.last[pack] + 1)
        when = passage.first_crossing(
            known.days[mine], known.spread_v[mine], float(known.limit_v[pack])
        )
        crossed[place] = day[place] if when is None else when
    return crossed
