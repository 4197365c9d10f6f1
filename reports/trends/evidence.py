"""From packs' checks to the rows of the model, and their sums as of any day.

A row is [1, years since the build began, temperature, y], each times the root of its weight, with
y the logarithm of the spread above the noise floor, as a share of the limit above that floor: 0 is
the limit. Floor and truth add in quadrature, as independent parts of a range roughly do. A reading
near the floor says little of its logarithm, so it weighs little. Looking ahead from a day, a check
counts by half for each HALF_LIFE_YEARS that it is older than the last one, for growth is not quite
steady; for what builds have in common all checks count alike.

Two routes are followed. The pack's: its spread, from the start of the present build. The
position's: the spread that one position alone would make (its distance below the highest), from
the day *that* position was last renewed; told where a partial change left an older position
behind, and there for the one that is worst at the last check. So a repair that leaves a drifting
neighbour is not new.

Sums of rows' outer products are kept as the ten figures on and above the diagonal, row by row:
see `PAIRS`.
"""

from dataclasses import dataclass

import numpy as np

from packs.rules.noise import d2
from reports.trends import segments
from reports.trends.histories import Histories, together
from reports.trends.history import YEAR_DAYS, Bools, Floats, PackHistory
from reports.trends.segments import Counts

READING_NOISE_V = 0.02  # standard deviation of one position's reading; assumption, no source
READING_NOISE_OF_LIMIT = 0.02  # the same at most, as a share of the limit; assumption, no source
RANGE_NOISE = 0.75  # range's own sd over σ: d3 is 0.86 to 0.69 for 5 to 30; control-chart tables
ROW_NOISE = 0.15  # scatter of the logarithm far above the floor; assumption, no source
LEAST_SHARE = 0.3  # of the floor: the least that is told apart from nothing; assumption, no source
MIDDLE_TEMPERATURE_C = 25.0  # where the temperature column is 0; the usual reference
TEMPERATURE_STEP_C = 10.0  # one unit of the temperature column
UNKNOWN_TEMPERATURE_WEIGHT = 0.6  # of a row whose temperature is unknown; assumption, no source
HALF_LIFE_YEARS = 1.0  # of what a check says of the time ahead; assumption, no source
LEAST_SEEN = 2  # checks before an older position is followed: one says nothing of growth
COLUMNS = 4  # of a row: one, years, temperature, y
PAIRS = np.triu_indices(COLUMNS)  # which two columns each of the ten sums multiplies


@dataclass(frozen=True, eq=False)
class Evidence:
    """What was known at k marks, each a pack and a day; cross (k, 10), see `PAIRS`.

    age_years (k,) since the build began; checks (k,) in it; last (k,) the row of its last one, −1
    where there is none. own_mark (j,) the marks at which an older position is followed, of which
    own_position (j,) from 1 is the worst; own_… the same for it.
    """

    age_years: Floats
    checks: Counts
    last: Counts
    cross: Floats
    own_mark: Counts
    own_position: Counts
    own_age_years: Floats
    own_checks: Counts
    own_cross: Floats


def floors_v(positions: Counts, limit_v: Floats) -> Floats:
    """Range, V, that readings of equal positions would show by their noise alone. (n,), (n,)"""
    width, place = np.unique(positions, return_inverse=True)
    factor = np.array([d2(int(each)) for each in width], dtype=np.float64)
    floors: Floats = factor[place] * np.minimum(READING_NOISE_V, READING_NOISE_OF_LIMIT * limit_v)
    return floors


def floor_v(history: PackHistory) -> float:
    """The same of one pack."""
    return float(floors_v(np.array([history.positions]), np.array([history.limit_v]))[0])


def above_floor(spread_v: Floats, floor: Floats) -> Floats:
    """Spread, V, with the noise floor taken out in quadrature; never quite nought. Any shape."""
    least = (LEAST_SHARE * floor) ** 2
    excess: Floats = np.sqrt(np.maximum(spread_v**2 - floor**2, least))
    return excess


def rows_of(
    spread_v: Floats, temperature_c: Floats, years: Floats, floor: Floats, limit_v: Floats
) -> Floats:
    """Weighted rows of the model: all (n,) → (n, 4)."""
    excess, limit = above_floor(spread_v, floor), above_floor(limit_v, floor)
    noise = RANGE_NOISE * np.minimum(READING_NOISE_V, READING_NOISE_OF_LIMIT * limit_v)
    loose = noise * np.maximum(spread_v, floor) / excess**2
    weight = ROW_NOISE**2 / (ROW_NOISE**2 + loose**2)
    known = np.isfinite(temperature_c)
    weight = np.where(known, weight, UNKNOWN_TEMPERATURE_WEIGHT * weight)
    warmth = np.where(known, (temperature_c - MIDDLE_TEMPERATURE_C) / TEMPERATURE_STEP_C, 0.0)
    rows = np.stack([np.ones_like(years), years, warmth, np.log(excess / limit)], axis=1)
    weighted: Floats = rows * np.sqrt(weight)[:, None]
    return weighted


def _summed(rows: Floats, count: Counts, weight: Floats | None = None) -> Floats:
    """Sums of outer products of rows (r, 4), `count` (k,) to each, → (k, 10)."""
    products = rows[:, PAIRS[0]] * rows[:, PAIRS[1]]
    return segments.sums(products if weight is None else products * weight[:, None], count)


def _rows(packs: Histories, row: Counts, spread_v: Floats, start: Floats) -> Floats:
    """Rows of the checks `row` (r,), years counted from `start` (r,)."""
    of = packs.check_pack[row]
    floor = floors_v(packs.positions, packs.limit_v)[of]
    years = (packs.days[row] - start) / YEAR_DAYS
    return rows_of(spread_v, packs.temperature_c[row], years, floor, packs.limit_v[of])


def _freshness(age_days: Floats) -> Floats:
    """How much a check counts beside one that is so much newer."""
    fresh: Floats = np.exp2(-age_days / (HALF_LIFE_YEARS * YEAR_DAYS))
    return fresh


def _last_renewal(packs: Histories, pack: Counts, days: Floats) -> tuple[Counts, Floats]:
    """The newest renewal at each mark, −1 where there is none, and when that build began."""
    last = segments.search(packs.renewal_pack, packs.renewal_days, pack, days, after=True) - 1
    last = np.where(last >= packs.renewal_edges[pack], last, -1)
    start = packs.entry_day[pack]
    some = last >= 0
    start[some] = np.maximum(start[some], packs.renewal_days[last[some]])
    return last, start


def builds(packs: Histories) -> tuple[Counts, Floats, Floats]:
    """Pack, rows and cross-products of each build that has a check. (b,), (b,), (b, 10)"""
    every = np.arange(packs.days.size)
    _, start = _last_renewal(packs, packs.check_pack, packs.days)
    rows = _rows(packs, every, packs.spread_v, start)
    new = np.ones(every.size, dtype=np.bool_)
    new[1:] = (np.diff(packs.check_pack) != 0) | (np.diff(start) != 0)
    first = np.flatnonzero(new)
    count = np.diff(np.append(first, every.size))
    return packs.check_pack[first], count.astype(np.float64), _summed(rows, count)


def gather(packs: Histories, pack: Counts, days: Floats) -> Evidence:
    """What was known at each mark (k,), a pack and a day: facts dated up to it, and none later."""
    renewal, start = _last_renewal(packs, pack, days)
    low = segments.search(packs.check_pack, packs.days, pack, start, after=False)
    seen = segments.search(packs.check_pack, packs.days, pack, days, after=True)
    high = np.maximum(seen, low)
    mark, row = segments.spread_out(low, high)
    rows = _rows(packs, row, packs.spread_v[row], start[mark])
    fresh = _freshness(packs.days[high[mark] - 1] - packs.days[row])
    return Evidence(
        (days - start) / YEAR_DAYS,
        high - low,
        np.where(high > low, high - 1, -1),
        _summed(rows, high - low, fresh),
        *_own_routes(packs, pack, days, renewal, seen),
    )


def of_one(history: PackHistory, day: float) -> Evidence:
    """What was known of one pack on a day."""
    return gather(together([history]), np.zeros(1, dtype=np.int_), np.array([day]))


def _own_routes(
    packs: Histories, pack: Counts, days: Floats, renewal: Counts, seen: Counts
) -> tuple[Counts, Counts, Floats, Counts, Floats]:
    """The part of `Evidence` that is of worst older positions. `seen` (k,): end of the checks."""
    first = packs.check_edges[pack]
    partial = (renewal >= 0) & (seen - first >= LEAST_SEEN)
    partial[partial] = ~packs.renewed[renewal[partial]].all(axis=1)
    mark = np.flatnonzero(partial)
    position, start = _worst(packs, pack[mark], renewal[mark], seen[mark] - 1)
    found = position >= 0
    mark, position, start = mark[found], position[found], start[found]
    which, row = segments.spread_out(first[mark], seen[mark])
    alone = alone_v(packs.deviation_v[row])[np.arange(row.size), position[which]]
    usable = np.isfinite(alone) & (packs.days[row] >= start[which])
    which, row, alone = which[usable], row[usable], alone[usable]
    count = np.bincount(which, minlength=mark.size)
    newest = packs.days[row[np.cumsum(count) - 1]]
    rows = _rows(packs, row, alone, start[which])
    fresh = _freshness(newest[which] - packs.days[row])
    age_years = (days[mark] - start) / YEAR_DAYS
    return mark, position + 1, age_years, count, _summed(rows, count, fresh)


def position_starts(packs: Histories, pack: Counts, renewal: Counts) -> Floats:
    """Day since which each position is the same one, by the renewals up to `renewal`. (k, p)

    pack (k,), renewal (k,) a row, or the one before the pack's first where there was none.
    """
    mark, row = segments.spread_out(packs.renewal_edges[pack], renewal + 1)
    entry = packs.entry_day[pack]
    days = np.where(packs.renewed[row], packs.renewal_days[row][:, None], -np.inf)
    newest = segments.greatest(days, np.bincount(mark, minlength=pack.size), least=-np.inf)
    starts: Floats = np.maximum(newest, entry[:, None])
    return starts


def _worst(packs: Histories, pack: Counts, renewal: Counts, last: Counts) -> tuple[Counts, Floats]:
    """Place of the position that lies lowest at the last check, −1 where none is told, and since
    when it is the same one; of those that the last change left as they were, with what was done
    before it without a check between, and that sat there at that check already."""
    starts = position_starts(packs, pack, renewal)
    alone = alone_v(packs.deviation_v[last])
    older = ~_in_one_go(packs, pack, renewal) & (starts <= packs.days[last][:, None])
    told = np.where(older & np.isfinite(alone), alone, -np.inf)
    position = np.argmax(told, axis=1)
    place = np.arange(pack.size)
    return np.where(np.isfinite(told[place, position]), position, -1), starts[place, position]


def _in_one_go(packs: Histories, pack: Counts, renewal: Counts) -> Bools:
    """Positions renewed with a renewal, or before it with no check between: one job is often told
    in many steps. (k, p)"""
    day = packs.renewal_days[renewal]
    before = segments.search(packs.check_pack, packs.days, pack, day, after=False) - 1
    checked = before >= packs.check_edges[pack]
    day = np.where(checked, packs.days[before], -np.inf)
    low = segments.search(packs.renewal_pack, packs.renewal_days, pack, day, after=True)
    mark, row = segments.spread_out(low, renewal + 1)
    count = np.bincount(mark, minlength=pack.size)
    return segments.greatest(packs.renewed[row].astype(np.float64), count, least=0.0) > 0


def alone_v(deviation_v: Floats) -> Floats:
    """Spread that each position alone would make: its distance below the highest, V. (n, p)"""
    highest = np.fmin.reduce(deviation_v, axis=1, initial=np.inf)
    alone: Floats = deviation_v - np.where(np.isfinite(highest), highest, np.nan)[:, None]
    return alone


def weakest_positions(packs: Histories, last: Counts) -> Counts:
    """Position (from 1) lowest at a check, 0 where none is below the middle. last (k,) → (k,)

    Rows are checks; −1 is none.
    """
    if not packs.days.size:
        return np.zeros(last.size, dtype=np.int_)
    below = np.where(last[:, None] >= 0, packs.deviation_v[last], np.nan)
    below = np.where(below > 0, below, -np.inf)
    position = np.argmax(below, axis=1)
    return np.where(np.isfinite(below.max(axis=1)), position + 1, 0)
