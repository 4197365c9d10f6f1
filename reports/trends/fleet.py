"""What the whole fleet says about how spreads grow and packs fail: gathered, merged, estimated.

Gathering is linear in the checks, and what it says of a pack follows from that pack alone. What was
gathered merges by laying end to end, in the order of the packs' keys, so shards give the same fit
in any order. Groups (a pack type and series) lean on the whole fleet, and the whole fleet leans on
named priors, so that a group of few packs, or a shop on its first day, still gets an honest and
wide answer.
"""

from collections.abc import Iterable, Mapping

import numpy as np

from reports.trends import evidence, failures, mixed, segments
from reports.trends.fits import (
    FLEET_PRIOR,
    PRIOR,
    Fit,
    GroupFit,
    GrowthTable,
    growth_table,
    matrix,
    pair,
)
from reports.trends.histories import Histories, together
from reports.trends.history import YEAR_DAYS, Floats, PackHistory, through
from reports.trends.passage import from_now
from reports.trends.segments import Counts
from reports.trends.statistics import Statistics, merge

__all__ = ["PRIOR", "Fit", "Statistics", "estimate", "fit", "gather", "merge", "routes_of"]

LEAST_CHECKS = 2  # in a build before its trend counts: through one point goes no line

# How far types and series differ from the fleet: standard deviations of the group's mean start and
# rate, in the logarithm. Assumptions, no source.
BETWEEN_GROUPS = np.diag([0.5**2, 0.2**2])
GROUP_BUILDS = 10.0  # builds that the fleet's covariance is worth in a group; assumption, no source
GROUP_ROWS = 30.0  # checks that the fleet's noise is worth in a group; assumption, no source

TEMPERATURE_SD = 0.1  # prior of the effect per 10 °C left after the physics; assumption, no source
LEAST_DETERMINANT = 1e-9  # of a build's sums, below which its checks are of one moment


def gather(packs: Histories) -> Statistics:
    """What the fit needs of each pack."""
    build_pack, build_rows, build_cross = evidence.builds(packs)
    mark_pack, days = _landmarks(packs)
    known = evidence.gather(packs, mark_pack, days)
    years, failed = _aftermath(packs, mark_pack, days)
    use = (known.checks >= LEAST_CHECKS) & (years > 0)
    told = use[known.own_mark]
    return Statistics(
        names=packs.names,
        pack_key=packs.key,
        pack_group=packs.group,
        pack_years=np.maximum(packs.contact_day - packs.entry_day, 0.0) / YEAR_DAYS,
        pack_failures=np.bincount(packs.failure_pack, minlength=packs.size).astype(np.float64),
        build_pack=build_pack,
        build_rows=build_rows,
        build_cross=build_cross,
        mark_pack=mark_pack[use],
        mark_age=known.age_years[use],
        mark_years=years[use],
        mark_failed=failed[use],
        mark_cross=known.cross[use],
        own_mark=(np.cumsum(use) - 1)[known.own_mark[told]],
        own_age=known.own_age_years[told],
        own_cross=known.own_cross[told],
    )


def _landmarks(packs: Histories) -> tuple[Counts, Floats]:
    """Days in the packs' closed past from which they are looked ahead, and whose. (k,), (k,)"""
    span = (packs.contact_day - packs.entry_day) / failures.WINDOW_DAYS
    count = np.maximum(np.ceil(span), 0.0).astype(np.int_)
    pack, number = segments.spread_out(np.zeros_like(count), count)
    return pack, packs.entry_day[pack] + number * failures.WINDOW_DAYS


def _aftermath(packs: Histories, pack: Counts, days: Floats) -> tuple[Floats, Floats]:
    """Years watched after each landmark (k,), and 1 where a failure ended them. (k,), (k,)"""
    until = np.minimum(days + failures.WINDOW_DAYS, packs.contact_day[pack])
    place = segments.search(packs.failure_pack, packs.failure_days, pack, days, after=True)
    ends = segments.edges(packs.failure_pack, packs.size)[pack + 1]
    following = np.where(place < ends, np.append(packs.failure_days, np.inf)[place], np.inf)
    failed = following <= until
    return (np.where(failed, following, until) - days) / YEAR_DAYS, failed.astype(np.float64)


def fit(histories: Iterable[PackHistory], *, through_day: float) -> Fit:
    """Estimate all from facts dated up to `through_day`; what is dated later is left out."""
    known = [through(each, through_day) for each in histories if each.entry_day <= through_day]
    return estimate(gather(together(known)), through_day=through_day)


def estimate(known: Statistics, *, through_day: float) -> Fit:
    """The fit that the gathered sums support."""
    fleet = _growth(known, np.arange(known.build_rows.size), None)
    group_of_build = known.pack_group[known.build_pack]
    groups = np.unique(known.pack_group).tolist()
    growth = {
        group: _growth(known, np.flatnonzero(group_of_build == group), fleet) for group in groups
    }
    whole = failures.base_rate(
        float(known.pack_failures.sum()),
        float(known.pack_years.sum()),
        around=failures.RATE_PER_YEAR,
        worth=failures.RATE_FAILURES,
    )
    routes = _mark_routes(known, growth)
    link = failures.estimate_link(routes, known.mark_years, known.mark_failed)
    foreseen = failures.expected(link, routes, known.mark_years)
    told = {
        known.names[group]: _failing(growth[group], known, group, whole, foreseen)
        for group in groups
    }
    unseen = _with(
        fleet, mean_cov=np.array(fleet.mean_cov) + BETWEEN_GROUPS, rate=whole, factor=1.0
    )
    return Fit(through_day, unseen, dict(sorted(told.items())), link)


def _growth(known: Statistics, chosen: Counts, fleet: GroupFit | None) -> GroupFit:
    """Growth in some builds, leaning on `fleet`, or on the named prior where that is None."""
    around = fleet or FLEET_PRIOR
    cross = known.build_cross[chosen]
    warmth, sureness = _temperature(cross, around, fleet is not None)
    moments = mixed.Moments(known.build_rows[chosen], without_temperature(cross, warmth))
    between = BETWEEN_GROUPS if fleet else np.zeros((2, 2))
    prior = mixed.Prior(
        mean=np.array(around.mean),
        precision=np.linalg.inv(np.array(around.mean_cov) + between),
        effect_cov=np.array(around.effect_cov),
        effect_units=GROUP_BUILDS,
        noise_variance=around.noise_variance,
        noise_rows=GROUP_ROWS,
    )
    found = mixed.estimate(moments, effects=2, prior=prior) if moments.count.size else None
    return GroupFit(
        mean=pair(found.beta) if found else around.mean,
        mean_cov=matrix(found.beta_cov if found else np.linalg.inv(prior.precision)),
        effect_cov=matrix(found.effect_cov) if found else around.effect_cov,
        noise_variance=found.noise_variance if found else around.noise_variance,
        temperature=warmth,
        temperature_variance=sureness,
        failures_per_year=around.failures_per_year,
        factor=1.0,
    )


def without_temperature(cross: Floats, per_step: float | Floats) -> Floats:
    """Cross-products of [1, years, y] with the effect of temperature taken off y.

    cross (m, 10), per_step one or (m,) → (m, 3, 3)
    """
    one, years, warmth, y, years2, years_warmth, years_y, warmth2, warmth_y, y2 = cross.T
    products = np.empty((3, 3, len(cross)))
    products[0, 0], products[1, 1] = one, years2
    products[0, 1] = products[1, 0] = years
    products[0, 2] = products[2, 0] = y - per_step * warmth
    products[1, 2] = products[2, 1] = years_y - per_step * years_warmth
    products[2, 2] = y2 - per_step * (2.0 * warmth_y - per_step * warmth2)
    return np.moveaxis(products, -1, 0)


def _temperature(cross: Floats, around: GroupFit, grouped: bool) -> tuple[float, float]:
    """Effect of one temperature step on the logarithm, and its variance, within builds alone.

    Each build's own start and rate are taken out of temperature and response first, so that warm
    packs are never compared with cool ones.
    """
    middle = around.temperature if grouped else 0.0
    prior = TEMPERATURE_SD**2
    if grouped:
        prior += around.temperature_variance
    one, years, warmth, y, years2, years_warmth, years_y, warmth2, warmth_y, _ = cross.T
    det = one * years2 - years * years
    told = det > LEAST_DETERMINANT
    divisor = np.where(told, det, 1.0)
    start = (years2 * warmth - years * years_warmth) / divisor
    rate = (one * years_warmth - years * warmth) / divisor
    left = np.where(told, warmth2 - start * warmth - rate * years_warmth, 0.0)
    pulled = np.where(told, warmth_y - start * y - rate * years_y, 0.0)
    weight = max(float(left.sum()), 0.0) / around.noise_variance
    pull = float(pulled.sum()) / around.noise_variance
    variance = 1.0 / (1.0 / prior + weight)
    return variance * (middle / prior + pull), variance


def routes_of(
    cross: Floats, age_years: Floats, growth: GrowthTable, rows: Counts | None = None
) -> failures.Route:
    """Trends of k packs as they stand, each of its own group. cross (k, 10), age_years (k,).

    rows (k,): which packs of those looked at, where it is not all of them.
    """
    mean, cov = mixed.posterior(
        without_temperature(cross, growth.temperature),
        mean=growth.mean,
        cov=growth.effect_cov + growth.mean_cov,
        noise_variance=growth.noise_variance,
    )
    return failures.Route(*from_now(mean, cov, age_years), rows)


def _mark_routes(known: Statistics, growth: Mapping[int, GroupFit]) -> list[failures.Route]:
    """Both routes at the landmarks, each under its own group's growth."""
    table = growth_table([growth.get(code, FLEET_PRIOR) for code in range(len(known.names))])
    group = known.pack_group[known.mark_pack]
    own = table.of(group[known.own_mark])
    return [
        routes_of(known.mark_cross, known.mark_age, table.of(group)),
        routes_of(known.own_cross, known.own_age, own, known.own_mark),
    ]


def _failing(
    growth: GroupFit, known: Statistics, group: int, whole: float, foreseen: Floats
) -> GroupFit:
    """Growth with this group's own failures: steady rate, and factor on what is foreseen."""
    packs = known.pack_group == group
    marks = packs[known.mark_pack]
    worth = failures.GROUP_FAILURES
    rate = failures.base_rate(
        float(known.pack_failures[packs].sum()),
        float(known.pack_years[packs].sum()),
        around=whole,
        worth=worth,
    )
    factor = (worth + known.mark_failed[marks].sum()) / (worth + foreseen[marks].sum())
    return _with(growth, mean_cov=np.array(growth.mean_cov), rate=rate, factor=float(factor))


def _with(growth: GroupFit, *, mean_cov: Floats, rate: float, factor: float) -> GroupFit:
    return GroupFit(
        growth.mean,
        matrix(mean_cov),
        growth.effect_cov,
        growth.noise_variance,
        growth.temperature,
        growth.temperature_variance,
        rate,
        factor,
    )
