"""What the whole fleet says about how spreads grow and packs fail: gathered, merged, estimated.

Gathering is linear in the checks and needs one pack at a time. What was gathered merges by laying
end to end; it is put in one order before anything is estimated, so shards give the same fit in any
order. Groups (a pack type and series) lean on the whole fleet, and the whole fleet leans on named
priors, so that a group of few packs, or a shop on its first day, still gets an honest and wide
answer.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from io import BytesIO

import numpy as np
from numpy.typing import NDArray

from reports.trends import evidence, failures, mixed
from reports.trends.fits import FLEET_PRIOR, PRIOR, Fit, GroupFit, matrix, pair
from reports.trends.history import YEAR_DAYS, Floats, PackHistory, through
from reports.trends.passage import from_now

__all__ = ["PRIOR", "Fit", "Statistics", "estimate", "fit", "gather", "merge", "routes_of"]

LEAST_CHECKS = 2  # in a build before its trend counts: through one point goes no line

# How far types and series differ from the fleet: standard deviations of the group's mean start and
# rate, in the logarithm. Assumptions, no source.
BETWEEN_GROUPS = np.diag([0.5**2, 0.2**2])
GROUP_BUILDS = 10.0  # builds that the fleet's covariance is worth in a group; assumption, no source
GROUP_ROWS = 30.0  # checks that the fleet's noise is worth in a group; assumption, no source

TEMPERATURE_SD = 0.1  # prior of the effect per 10 °C left after the physics; assumption, no source

Labels = NDArray[np.str_]


@dataclass(frozen=True, eq=False)
class Statistics:
    """All that the estimates need. m builds, n packs, k landmarks; see `evidence` for the rows.

    build_group (m,), build_rows (m,), build_cross (m, 4, 4); pack_group (n,), pack_years (n,) at
    risk from entry to last contact, pack_failures (n,); mark_group (k,), mark_age (k, 2) years,
    mark_cross (k, 2, 4, 4) of the pack's and the older position's route (nought where none is
    followed), mark_years (k,) watched after, mark_failed (k,) 1 or 0.
    """

    build_group: Labels
    build_rows: Floats
    build_cross: Floats
    pack_group: Labels
    pack_years: Floats
    pack_failures: Floats
    mark_group: Labels
    mark_age: Floats
    mark_cross: Floats
    mark_years: Floats
    mark_failed: Floats

    def as_bytes(self) -> bytes:
        """As shards are kept until they are merged: NumPy's own file of arrays, compressed."""
        kept = BytesIO()
        arrays = {name: getattr(self, name) for name in self.__dataclass_fields__}
        np.savez_compressed(kept, allow_pickle=False, **arrays)
        return kept.getvalue()

    @classmethod
    def from_bytes(cls, kept: bytes) -> "Statistics":
        """What `as_bytes` kept, exactly."""
        with np.load(BytesIO(kept), allow_pickle=False) as told:
            return cls(**{name: told[name] for name in cls.__dataclass_fields__})


@dataclass
class _Pile:
    """Lists that one pass over the histories fills."""

    group: list[str] = field(default_factory=list)
    years: list[float] = field(default_factory=list)
    failed: list[float] = field(default_factory=list)
    build_rows: list[Floats] = field(default_factory=list)
    build_cross: list[Floats] = field(default_factory=list)
    mark_age: list[Floats] = field(default_factory=list)
    mark_cross: list[Floats] = field(default_factory=list)
    mark_years: list[Floats] = field(default_factory=list)
    mark_failed: list[Floats] = field(default_factory=list)

    def take(self, history: PackHistory) -> None:
        """Add one pack."""
        self.group.append(history.group)
        self.years.append(max(history.contact_day - history.entry_day, 0.0) / YEAR_DAYS)
        self.failed.append(float(history.failure_days.size))
        rows, cross = evidence.builds(history)
        self.build_rows.append(rows)
        self.build_cross.append(cross)
        days = _landmarks(history)
        known = evidence.gather(history, days)
        years, failed = _aftermath(history, days)
        use = (known.checks >= LEAST_CHECKS) & (years > 0)
        self.mark_age.append(np.column_stack([known.age_years, known.own_age_years])[use])
        self.mark_cross.append(np.stack([known.cross, known.own_cross], axis=1)[use])
        self.mark_years.append(years[use])
        self.mark_failed.append(failed[use])


def _landmarks(history: PackHistory) -> Floats:
    """Days in the pack's closed past from which it is looked ahead. (k,)"""
    return np.arange(history.entry_day, history.contact_day, failures.WINDOW_DAYS)


def _aftermath(history: PackHistory, days: Floats) -> tuple[Floats, Floats]:
    """Years watched after each of `days` (k,), and 1 where a failure ended them. (k,), (k,)"""
    until = np.minimum(days + failures.WINDOW_DAYS, history.contact_day)
    following = np.searchsorted(history.failure_days, days, side="right")
    next_failure = np.append(history.failure_days, np.inf)[following]
    failed = next_failure <= until
    return (np.where(failed, next_failure, until) - days) / YEAR_DAYS, failed.astype(np.float64)


def gather(histories: Iterable[PackHistory]) -> Statistics:
    """Sums over packs, one at a time."""
    pile = _Pile()
    for history in histories:
        pile.take(history)
    return Statistics(
        build_group=_labels(pile.group, pile.build_rows),
        build_rows=_joined(pile.build_rows, ()),
        build_cross=_joined(pile.build_cross, (4, 4)),
        pack_group=np.array(pile.group, dtype=np.str_),
        pack_years=np.array(pile.years, dtype=np.float64),
        pack_failures=np.array(pile.failed, dtype=np.float64),
        mark_group=_labels(pile.group, pile.mark_years),
        mark_age=_joined(pile.mark_age, (2,)),
        mark_cross=_joined(pile.mark_cross, (2, 4, 4)),
        mark_years=_joined(pile.mark_years, ()),
        mark_failed=_joined(pile.mark_failed, ()),
    )


def _labels(groups: list[str], parts: list[Floats]) -> Labels:
    return np.repeat(np.array(groups, dtype=np.str_), [len(part) for part in parts])


def _joined(parts: list[Floats], shape: tuple[int, ...]) -> Floats:
    return np.concatenate([np.zeros((0, *shape)), *parts])


def merge(shards: Iterable[Statistics]) -> Statistics:
    """Shards laid end to end; whatever their order, the estimate is the same."""
    parts = [gather([]), *shards]
    names = Statistics.__dataclass_fields__
    return Statistics(**{n: np.concatenate([getattr(part, n) for part in parts]) for n in names})


def _in_order(statistics: Statistics) -> Statistics:
    """The same, each table sorted by what it holds."""
    sorted_tables: dict[str, NDArray[np.generic]] = {}
    for table in ("build", "pack", "mark"):
        names = [n for n in Statistics.__dataclass_fields__ if n.startswith(table)]
        columns = [getattr(statistics, name) for name in names]
        flat = [column.reshape(len(column), math.prod(column.shape[1:])) for column in columns[1:]]
        keys = [each for column in flat for each in column.T]
        order = np.lexsort([*keys, columns[0]])
        sorted_tables |= {n: column[order] for n, column in zip(names, columns, strict=True)}
    return Statistics(**sorted_tables)  # type: ignore[arg-type]


def fit(histories: Iterable[PackHistory], *, through_day: float) -> Fit:
    """Estimate all from facts dated up to `through_day`; what is dated later is left out."""
    known = (through(each, through_day) for each in histories if each.entry_day <= through_day)
    return estimate(gather(known), through_day=through_day)


def estimate(statistics: Statistics, *, through_day: float) -> Fit:
    """The fit that the gathered sums support."""
    known = _in_order(statistics)
    fleet = _growth(known, np.ones(known.build_rows.size, dtype=bool), None)
    names = sorted(set(known.pack_group.tolist()))
    growth = {name: _growth(known, known.build_group == name, fleet) for name in names}
    whole = failures.base_rate(
        float(known.pack_failures.sum()),
        float(known.pack_years.sum()),
        around=failures.RATE_PER_YEAR,
        worth=failures.RATE_FAILURES,
    )
    routes = _mark_routes(known, growth)
    link = failures.estimate_link(routes, known.mark_years, known.mark_failed)
    foreseen = failures.expected(link, routes, known.mark_years)
    groups = {name: _failing(growth[name], known, name, whole, foreseen) for name in names}
    unseen = _with(
        fleet, mean_cov=np.array(fleet.mean_cov) + BETWEEN_GROUPS, rate=whole, factor=1.0
    )
    return Fit(through_day, unseen, groups, link)


def _growth(known: Statistics, chosen: NDArray[np.bool_], fleet: GroupFit | None) -> GroupFit:
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


def without_temperature(cross: Floats, per_step: float) -> Floats:
    """Cross-products of [1, years, y] with the effect of temperature taken off y. (m, 3, 3)"""
    change = np.zeros((4, 3))
    change[[0, 1, 3], [0, 1, 2]] = 1.0
    change[2, 2] = -per_step
    products: Floats = change.T @ cross @ change
    return products


def _temperature(cross: Floats, around: GroupFit, grouped: bool) -> tuple[float, float]:
    """Effect of one temperature step on the logarithm, and its variance, within builds alone.

    Each build's own start and rate are taken out of temperature and response first, so that warm
    packs are never compared with cool ones.
    """
    middle = around.temperature if grouped else 0.0
    prior = TEMPERATURE_SD**2
    if grouped:
        prior += around.temperature_variance
    told = cross[np.linalg.det(cross[:, :2, :2]) > 1e-9]
    lines = np.linalg.inv(told[:, :2, :2])
    rest = told[:, 2:, 2:] - told[:, 2:, :2] @ lines @ told[:, :2, 2:]
    weight = max(float(rest[:, 0, 0].sum()), 0.0) / around.noise_variance
    pull = float(rest[:, 0, 1].sum()) / around.noise_variance
    variance = 1.0 / (1.0 / prior + weight)
    return variance * (middle / prior + pull), variance


def routes_of(cross: Floats, age_years: Floats, group: GroupFit) -> failures.Route:
    """Trends of k builds of one group, as they stand. cross (k, 4, 4), age_years (k,)."""
    mean, cov = mixed.posterior(
        without_temperature(cross, group.temperature),
        mean=np.array(group.mean),
        cov=np.array(group.effect_cov) + np.array(group.mean_cov),
        noise_variance=group.noise_variance,
    )
    return failures.Route(*from_now(mean, cov, age_years))


def _mark_routes(known: Statistics, growth: dict[str, GroupFit]) -> list[failures.Route]:
    """Both routes at every landmark, each under its own group's growth."""
    size = known.mark_years.size
    routes = []
    for which in (0, 1):
        mean, cov = np.zeros((size, 2)), np.zeros((size, 2, 2))
        for name, group in growth.items():
            mine = known.mark_group == name
            route = routes_of(known.mark_cross[mine, which], known.mark_age[mine, which], group)
            mean[mine], cov[mine] = route.mean, route.cov
        routes.append(failures.Route(mean, cov))
    absent = known.mark_cross[:, 1, 0, 0] <= 0  # no older position is followed
    routes[1].mean[absent], routes[1].cov[absent] = routes[0].mean[absent], routes[0].cov[absent]
    return routes


def _failing(
    growth: GroupFit, known: Statistics, name: str, whole: float, foreseen: Floats
) -> GroupFit:
    """Growth with this group's own failures: steady rate, and factor on what is foreseen."""
    packs, marks = known.pack_group == name, known.mark_group == name
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
