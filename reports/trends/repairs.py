"""What a repair would do to the chance of a failure, before anybody picks up a wrench.

A repair renews positions. The spread of the pack then begins again as builds of its kind begin:
with the start and the rate of the group, as unsure as the group is of a new build. Where the
modules that are fitted differ from their mates by more than that start, the start is theirs.
Positions that were not touched go on as they were: the worst of them keeps the trend of its own,
and whichever of the two is worse counts, as in any outlook. Nothing renewed is the outlook as it
is; everything renewed is a new build, whatever the pack was before.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from reports.trends import evidence, failures
from reports.trends.fits import Fit, GroupFit, growth_table
from reports.trends.fleet import LEAST_CHECKS, routes_of
from reports.trends.history import YEAR_DAYS, Bools, Floats, PackHistory, through
from reports.trends.outlook import significant

LONGEST_SPAN_DAYS = 185.0  # over which the hazard is taken as smooth: the longest between horizons

_NODES, _PARTS = np.polynomial.legendre.leggauss(3)
_NODES, _PARTS = 0.5 * (_NODES + 1.0), 0.5 * _PARTS


@dataclass(frozen=True)
class After:
    """The chance of a recorded failure after a repair.

    failure_probability: by horizon in days; within_warranty: within the days asked for.
    older_checks: checks of the worst position that was left as it is, None where none is followed.
    """

    failure_probability: Mapping[int, float]
    within_warranty: float
    older_checks: int | None


def after(
    history: PackHistory,
    fit: Fit,
    *,
    renewed: Bools,
    as_of_day: float,
    warranty_days: float,
    start_v: float | None = None,
) -> After:
    """The chances after the positions of `renewed` (p,) are renewed on a day.

    start_v: the spread, V, that the modules then in the pack make by their own resistances; None
    where nobody measured them.
    """
    known, group = through(history, as_of_day), fit.group(history.group)
    if not renewed.any():
        return _as_it_is(known, fit, group, as_of_day, warranty_days)
    repaired = replace(
        known,
        renewal_days=np.append(known.renewal_days, as_of_day),
        renewed=np.vstack([known.renewed, renewed]),
    )
    found = evidence.of_one(repaired, as_of_day)
    routes = [_fresh(known, group, start_v)]
    checks = None
    if not renewed.all() and found.own_mark.size:
        checks = int(found.own_checks[0])
        own = routes_of(found.own_cross, found.own_age_years, growth_table([group]))
        routes.append(own)
    return _told(fit, group, routes, warranty_days, checks)


def _as_it_is(
    known: PackHistory, fit: Fit, group: GroupFit, day: float, warranty_days: float
) -> After:
    """As `outlook.judge` tells it, to the same digits."""
    found = evidence.of_one(known, day)
    if int(found.checks[0]) < LEAST_CHECKS:
        chance = failures.base_probability(group.failures_per_year)
        within = _share(group.failures_per_year * warranty_days / YEAR_DAYS)
        return After(_by_horizon(chance), significant(within), None)
    table = growth_table([group])
    routes = [routes_of(found.cross, found.age_years, table)]
    own = int(found.own_checks.sum())
    if own >= LEAST_CHECKS:
        routes.append(routes_of(found.own_cross, found.own_age_years, table))
    return _told(fit, group, routes, warranty_days, own or None)


def _fresh(known: PackHistory, group: GroupFit, start_v: float | None) -> failures.Route:
    """The trend of a new build of the group, on its first day."""
    nothing = np.zeros((1, len(evidence.PAIRS[0])))
    route = routes_of(nothing, np.zeros(1), growth_table([group]))
    if start_v is None:
        return route
    floor = evidence.floor_v(known)
    least = evidence.above_floor(np.array([start_v, known.limit_v]), np.array(floor))
    mean = route.mean.copy()
    mean[0, 0] = max(mean[0, 0], float(np.log(least[0] / least[1])))
    return failures.Route(mean, route.cov)


def _told(
    fit: Fit,
    group: GroupFit,
    routes: list[failures.Route],
    warranty_days: float,
    older_checks: int | None,
) -> After:
    chance = failures.probability(fit.link, group.factor, routes)[0]
    within = within_days(fit.link, group.factor, routes, warranty_days)
    return After(_by_horizon(chance), significant(within), older_checks)


def _by_horizon(chance: Floats) -> dict[int, float]:
    return {
        days: significant(float(p)) for days, p in zip(failures.HORIZONS_DAYS, chance, strict=True)
    }


def within_days(
    link: failures.Link, factor: float, routes: list[failures.Route], days: float
) -> float:
    """Probability of a recorded failure of one pack within any number of days.

    The hazard of `failures` summed over spans that end at its horizons.
    """
    known = [float(edge) for edge in failures.HORIZONS_DAYS if edge < days]
    beyond = np.arange(known[-1] if known else 0.0, days, LONGEST_SPAN_DAYS)[1:]
    edges = np.array([0.0, *known, *beyond, days]) / YEAR_DAYS
    spans = np.diff(edges)
    years = (edges[:-1, None] + spans[:, None] * _NODES).ravel()[None, :]
    rates = failures.hazard(link, routes, years).reshape(spans.size, _NODES.size)
    return _share(factor * float(((rates @ _PARTS) * spans).sum()))


def _share(amount: float) -> float:
    least = failures.LEAST_PROBABILITY
    return float(np.clip(-np.expm1(-amount), least, 1.0 - least))
