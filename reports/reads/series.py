"""From what is known of packs to the one series of like checks that each trend is read from."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from packs.models import PackType
from packs.reads import types
from packs.reads.types import Limits
from packs.rules.leveling import as_equal
from packs.rules.noise import medians, ranges
from packs.rules.pairing import PAIR_WITHIN_S, pair
from packs.rules.plausible import ZERO_V
from packs.rules.reference import ACTIVATION_EV, at_reference_many
from reports.reads.knowledge import CONDITIONS, LEVELS, Checks, Knowledge, Known, of_one
from reports.reads.vantages import DAY_S
from reports.trends.histories import Histories
from reports.trends.history import Floats, PackHistory
from reports.trends.segments import Counts

ENOUGH_UNDER_LOAD = 2  # comparable checks in the build from which the load series is preferred
LEAST_POSITIONS = 2  # a single position has no mates to be compared with
GRAIN_S = 2.0**-10  # to which instants are told for pairing: sums of such steps are exact
REST, LOAD = CONDITIONS.index("rest"), CONDITIONS.index("load")
MOST_OF_A_KIND = 1_000_000  # checks of one pack, above any number that can be

Bools = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Series:
    """Like checks of packs of one type, level and condition that compare: row (k,) among all
    checks, sorted; spread_v (k,) and volts (k, p) at the reference, V."""

    kind: PackType
    level: int
    condition: int
    row: Counts
    spread_v: Floats
    volts: Floats

    @property
    def group(self) -> str:
        """The name that its trend is pooled under."""
        return f"{self.kind.code}/{CONDITIONS[self.condition]}/{LEVELS[self.level]}"


def history(knowledge: Knowledge) -> PackHistory:
    """One pack as the trends want it."""
    return histories(of_one(knowledge)).one(0)


def histories(known: Known) -> Histories:
    """The packs as the trends want them: their best series, their renewals, their failures.

    Under load where enough of the present build is comparable, else whatever there is most of.
    """
    candidates = list(_candidates(known))
    choice = _choose(candidates, known)
    names = tuple(sorted({candidates[place].group for place in set(choice.tolist())}))
    views = known.views
    as_of_day = np.array([view.as_of_day for view in views], dtype=np.float64)
    entry = np.where(np.isnan(known.first_day), as_of_day, known.first_day)
    chosen = [candidates[place] for place in choice.tolist()]
    positions = np.array([_positions(one.kind, one.level) for one in chosen], dtype=np.int_)
    width = int(positions.max(initial=1))
    row, spread_v, deviation_v = _told(candidates, choice, known.checks.pack, width)
    return Histories(
        key=np.array([view.pack.pk for view in views], dtype=np.int_),
        names=names,
        group=np.array([names.index(one.group) for one in chosen], dtype=np.int_),
        positions=positions,
        limit_v=np.array(
            [_limit_v(one, view.limits) for one, view in zip(chosen, views, strict=True)],
            dtype=np.float64,
        ),
        entry_day=entry,
        contact_day=np.where(np.isnan(known.last_day), entry, known.last_day),
        check_pack=known.checks.pack[row],
        days=known.checks.day[row],
        spread_v=spread_v,
        deviation_v=deviation_v,
        temperature_c=known.checks.temperature_c[row],
        renewal_pack=known.renewal_pack,
        renewal_days=known.renewal_day,
        renewed=_renewed(known, chosen, width),
        failure_pack=known.failure_pack,
        failure_days=known.failure_day,
    )


def _limit_v(series: Series, limits: Limits) -> float:
    at_rest = series.condition == REST
    return limits.rest_spread_limit_v if at_rest else limits.load_spread_limit_v


def _positions(kind: PackType, level: int) -> int:
    return len(types.cells(kind, LEVELS[level]))


def _candidates(known: Known) -> Iterator[Series]:
    """By type and its ratings, each level under load and at rest, in the order in which ties are
    settled; blocks under load are always among them."""
    build = _builds(known)
    kinds: dict[tuple[int, Limits], list[int]] = {}
    for place, view in enumerate(known.views):
        kinds.setdefault((view.pack.pack_type_id, view.limits), []).append(place)
    for (_, limits), places in kinds.items():
        mine = np.zeros(len(known.views), dtype=np.bool_)
        mine[places] = True
        rows = np.flatnonzero(mine[known.checks.pack])
        kind = known.views[places[0]].pack.pack_type
        for level in range(len(LEVELS)):
            at_level = rows[known.checks.level[rows] == level]
            if _positions(kind, level) < LEAST_POSITIONS:
                at_level = at_level[:0]
            if at_level.size or level == 0:
                rest = at_level[known.checks.condition[at_level] == REST]
                load = at_level[known.checks.condition[at_level] == LOAD]
                yield _load_series(known.checks, kind, level, limits, load, rest, build)
                yield _rest_series(known.checks, kind, level, rest)


def _builds(known: Known) -> Counts:
    """A number for the build that each check was taken in, never one of two packs. (c,)"""
    changes = np.bincount(known.renewal_pack, minlength=len(known.views))
    first = np.arange(len(known.views)) + np.cumsum(changes) - changes
    every = np.unique(np.concatenate([known.renewal_day, known.checks.day]))
    size = every.size + 1
    when = known.renewal_pack * size + np.searchsorted(every, known.renewal_day)
    asked = known.checks.pack * size + np.searchsorted(every, known.checks.day)
    before = np.searchsorted(when, asked, side="right")
    own = before - (np.cumsum(changes) - changes)[known.checks.pack]
    return first[known.checks.pack] + own


def _volts(checks: Checks, rows: Counts, cells: NDArray[np.int64]) -> Floats:
    """(k, p) in V as if all positions had the same cells; NaN where nothing was read.

    A lead that reads nothing tells of no module.
    """
    if rows.size and not np.all(np.diff(checks.start)[rows] == cells.size):
        raise ValueError("A check has another number of voltages than its type has positions.")
    volts = checks.volts[checks.start[rows][:, None] + np.arange(cells.size)]
    volts[np.abs(volts) < ZERO_V] = np.nan
    return as_equal(volts, cells)


def _rest_series(checks: Checks, kind: PackType, level: int, rows: Counts) -> Series:
    volts = _volts(checks, rows, types.cells(kind, LEVELS[level]))
    return _comparable(Series(kind, level, REST, rows, ranges(volts), volts))


def _load_series(
    checks: Checks,
    kind: PackType,
    level: int,
    limits: Limits,
    load: Counts,
    rest: Counts,
    build: Counts,
) -> Series:
    """Load checks, each position brought to the reference current and temperature."""
    cells = types.cells(kind, LEVELS[level])
    partner = _pairs(checks, load, rest, build)
    paired = partner >= 0
    rest_volts, rest_a = np.full((load.size, cells.size), np.nan), np.zeros(load.size)
    rest_volts[paired] = _volts(checks, rest[partner[paired]], cells)
    rest_a[paired] = checks.current_a[rest[partner[paired]]]
    spread_v, volts = at_reference_many(
        _volts(checks, load, cells),
        checks.current_a[load],
        rest_volts,
        rest_a,
        checks.temperature_c[load],
        limits.reference_load_a,
        limits.reference_temperature_c,
        ACTIVATION_EV[kind.chemistry],
    )
    return _comparable(Series(kind, level, LOAD, load, spread_v, volts))


def _comparable(series: Series) -> Series:
    """Only the checks that have a spread to compare."""
    told = np.isfinite(series.spread_v)
    kept = series.row[told], series.spread_v[told], series.volts[told]
    return Series(series.kind, series.level, series.condition, *kept)


def _pairs(checks: Checks, load: Counts, rest: Counts, build: Counts) -> Counts:
    """Which rest check goes with each load check of the same build; −1 for none.

    Instants are pushed apart by build, and sets told apart by it, so that no pair is made across a
    change, or across packs.
    """
    if not load.size or not rest.size:
        return np.full(load.size, -1, dtype=np.int_)
    both = np.concatenate([load, rest])
    seconds = checks.day[both] * DAY_S
    seconds = np.round((seconds - np.floor(seconds.min())) / GRAIN_S) * GRAIN_S
    apart = 2.0 ** np.ceil(np.log2(seconds.max() + 2.0 * PAIR_WITHIN_S + 1.0))
    _, place = np.unique(build[both], return_inverse=True)
    times = seconds + place * apart
    named = checks.set_code[both] >= 0
    codes = np.where(named, checks.set_code[both] * (place.max() + 1) + place, -1)
    count = load.size
    return pair(times[:count], codes[:count], times[count:], codes[count:])


def _choose(candidates: Sequence[Series], known: Known) -> Counts:
    """The series to read of each pack (n,): enough load checks first, then most in the build."""
    kind = np.array([view.pack.pack_type_id for view in known.views], dtype=np.int_)
    start = np.full(len(known.views), -np.inf)
    np.maximum.at(start, known.renewal_pack, known.renewal_day)
    best = np.full(len(known.views), -1, dtype=np.int_)
    choice = np.full(len(known.views), -1, dtype=np.int_)
    for place, series in enumerate(candidates):
        whose = known.checks.pack[series.row]
        recent = known.checks.day[series.row] >= start[whose]
        size = np.bincount(whose, minlength=best.size)
        in_build = np.bincount(whose[recent], minlength=best.size)
        enough = (in_build >= ENOUGH_UNDER_LOAD) & (series.condition == LOAD)
        worth = (enough * MOST_OF_A_KIND + in_build) * MOST_OF_A_KIND + size
        better = (kind == series.kind.pk) & (worth > best)
        best[better], choice[better] = worth[better], place
    return choice


def _told(
    candidates: Sequence[Series], choice: Counts, pack: Counts, width: int
) -> tuple[Counts, Floats, Floats]:
    """The rows of the series chosen, their spreads, and each position's distance below the
    middle, NaN beyond a series' own positions. (k,), (k,), (k, width)"""
    rows, spreads, deviations = [np.zeros(0, dtype=np.int_)], [np.zeros(0)], [np.zeros((0, width))]
    for place, series in enumerate(candidates):
        mine = choice[pack[series.row]] == place
        if mine.any():
            volts = series.volts[mine]
            wide = np.full((len(volts), width), np.nan)
            wide[:, : volts.shape[1]] = medians(volts)[:, None] - volts
            rows.append(series.row[mine])
            spreads.append(series.spread_v[mine])
            deviations.append(wide)
    row = np.concatenate(rows)
    order = np.argsort(row, kind="stable")
    return row[order], np.concatenate(spreads)[order], np.concatenate(deviations)[order]


def _renewed(known: Known, chosen: Sequence[Series], width: int) -> Bools:
    """Which positions each renewal touched: those in which a renewed module sits; all where none
    is named, and all beyond a pack's own. (r, width)"""
    renewed = np.ones((known.renewal_pack.size, width), dtype=np.bool_)
    named, first = np.unique(known.renewed, return_index=True)
    parts = np.split(known.module, first[1:])
    for place, part in zip(named.tolist(), parts, strict=False):
        series, modules = chosen[int(known.renewal_pack[place])], part - 1
        count = _positions(series.kind, series.level)
        renewed[place, :count] = False
        renewed[place, _touched(series, modules)] = True
    return renewed


def _touched(series: Series, modules: Counts) -> Counts:
    """Positions, from 0, at which the modules, from 0, are read: blocks, themselves, or cells."""
    kind, level = series.kind, LEVELS[series.level]
    if level == "cell":
        cells = kind.cells_per_module
        return (modules[:, None] * cells + np.arange(cells)).ravel()
    if level == "block":
        return np.repeat(np.arange(kind.block_count), kind.blocks)[modules]
    return modules
