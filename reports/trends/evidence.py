"""From one pack's checks to the rows of the model, and their sums as of any day.

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
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from packs.rules.noise import noise_floor
from reports.trends.history import (
    YEAR_DAYS,
    Bools,
    Floats,
    PackHistory,
    position_starts,
    through,
)

READING_NOISE_V = 0.02  # standard deviation of one position's reading; assumption, no source
READING_NOISE_OF_LIMIT = 0.02  # the same at most, as a share of the limit; assumption, no source
RANGE_NOISE = 0.75  # range's own sd over σ: d3 is 0.86 to 0.69 for 5 to 30; control-chart tables
ROW_NOISE = 0.15  # scatter of the logarithm far above the floor; assumption, no source
LEAST_SHARE = 0.3  # of the floor: the least that is told apart from nothing; assumption, no source
MIDDLE_TEMPERATURE_C = 25.0  # where the temperature column is 0; the usual reference
TEMPERATURE_STEP_C = 10.0  # one unit of the temperature column
UNKNOWN_TEMPERATURE_WEIGHT = 0.6  # of a row whose temperature is unknown; assumption, no source
HALF_LIFE_YEARS = 1.0  # of what a check says of the time ahead; assumption, no source
COLUMNS = 4  # of a row: one, years, temperature, y

Counts = NDArray[np.int_]


@dataclass(frozen=True, eq=False)
class Evidence:
    """What was known of one pack on k days; cross (k, 4, 4) sums of rows' outer products.

    age_years (k,) since the build began; checks (k,) in it. own_… the same for the one older
    position that is worst; own_position (k,) counted from 1, 0 where none is followed.
    """

    age_years: Floats
    checks: Counts
    cross: Floats
    own_position: Counts
    own_age_years: Floats
    own_checks: Counts
    own_cross: Floats


def floor_v(history: PackHistory) -> float:
    """Range, V, that readings of equal positions would show by their noise alone."""
    noise = min(READING_NOISE_V, READING_NOISE_OF_LIMIT * history.limit_v)
    return float(noise_floor(history.positions, noise))


def above_floor(spread_v: Floats, floor: float) -> Floats:
    """Spread, V, with the noise floor taken out in quadrature; never quite nought. Any shape."""
    least = (LEAST_SHARE * floor) ** 2
    excess: Floats = np.sqrt(np.maximum(spread_v**2 - floor**2, least))
    return excess


def rows_of(spread_v: Floats, temperature_c: Floats, years: Floats, history: PackHistory) -> Floats:
    """Weighted rows of the model. spread_v, temperature_c, years (n,) → (n, 4)."""
    floor = floor_v(history)
    excess = above_floor(spread_v, floor)
    limit = above_floor(np.array(history.limit_v), floor)
    noise = RANGE_NOISE * min(READING_NOISE_V, READING_NOISE_OF_LIMIT * history.limit_v)
    loose = noise * np.maximum(spread_v, floor) / excess**2
    weight = ROW_NOISE**2 / (ROW_NOISE**2 + loose**2)
    known = np.isfinite(temperature_c)
    weight = np.where(known, weight, UNKNOWN_TEMPERATURE_WEIGHT * weight)
    warmth = np.where(known, (temperature_c - MIDDLE_TEMPERATURE_C) / TEMPERATURE_STEP_C, 0.0)
    rows = np.column_stack([np.ones_like(years), years, warmth, np.log(excess / limit)])
    return rows * np.sqrt(weight)[:, None]


def build_starts(history: PackHistory) -> Floats:
    """First day of each build, the first one being entry. (b,)"""
    return np.unique(np.append(history.entry_day, history.renewal_days))


def _sums(history: PackHistory, starts: Floats, fresh: Floats) -> Floats:
    """Running sums of the rows' outer products, each times `fresh` (n,). (n + 1, 4, 4)

    Years are counted from the start of each check's own build.
    """
    build = np.maximum(np.searchsorted(starts, history.days, side="right") - 1, 0)
    years = (history.days - starts[build]) / YEAR_DAYS
    rows = rows_of(history.spread_v, history.temperature_c, years, history)
    sums = np.zeros((history.days.size + 1, COLUMNS, COLUMNS))
    products = rows[:, :, None] * rows[:, None, :]
    np.cumsum(fresh[:, None, None] * products, axis=0, out=sums[1:])
    return sums


def _freshness(days: Floats, day: float | Floats) -> Floats:
    """How much a check of each of `days` counts beside one of `day`."""
    fresh: Floats = np.exp2((days - day) / (HALF_LIFE_YEARS * YEAR_DAYS))
    return fresh


def builds(history: PackHistory) -> tuple[Floats, Floats]:
    """Rows and cross-products of each build that has a check. (b,), (b, 4, 4)"""
    starts = build_starts(history)
    edges = np.append(np.searchsorted(history.days, starts, side="left"), history.days.size)
    edges[0] = 0
    sums = _sums(history, starts, np.ones(history.days.size))
    count = np.diff(edges)
    cross = sums[edges[1:]] - sums[edges[:-1]]
    return count[count > 0].astype(np.float64), cross[count > 0]


def gather(history: PackHistory, days: Floats) -> Evidence:
    """What was known on each of `days` (k,): facts dated up to it, and none later."""
    starts = build_starts(history)
    start = starts[np.maximum(np.searchsorted(starts, days, side="right") - 1, 0)]
    low = np.searchsorted(history.days, start, side="left")
    high = np.maximum(np.searchsorted(history.days, days, side="right"), low)
    sums = _sums(history, starts, _freshness(history.days, history.entry_day))
    last = np.append(history.entry_day, history.days)[high]
    fading = _freshness(np.array(history.entry_day), last)
    own = [_own_route(history, float(day)) for day in days]
    return Evidence(
        age_years=(days - start) / YEAR_DAYS,
        checks=high - low,
        cross=(sums[high] - sums[low]) * fading[:, None, None],
        own_position=np.array([each[0] for each in own], dtype=np.int_),
        own_age_years=np.array([each[1] for each in own], dtype=np.float64),
        own_checks=np.array([each[2] for each in own], dtype=np.int_),
        own_cross=np.array([each[3] for each in own], dtype=np.float64).reshape(-1, 4, 4),
    )


_NO_ROUTE = (0, 0.0, 0, np.zeros((COLUMNS, COLUMNS)))


def _own_route(history: PackHistory, day: float) -> tuple[int, float, int, Floats]:
    """Position, years, checks and cross-products of the worst older position, if there is one."""
    changes = int(np.searchsorted(history.renewal_days, day, side="right"))
    seen = int(np.searchsorted(history.days, day, side="right"))
    if changes == 0 or seen < 2 or bool(history.renewed[changes - 1].all()):
        return _NO_ROUTE
    starts = position_starts(through(history, day))
    older = ~history.renewed[changes - 1] & (starts <= history.days[seen - 1])
    position = _worst(history, older, seen)
    if position is None:
        return _NO_ROUTE
    start = float(starts[position])
    alone = alone_v(history.deviation_v[:seen])[:, position]
    usable = np.isfinite(alone) & (history.days[:seen] >= start)
    when = history.days[:seen][usable]
    years = (when - start) / YEAR_DAYS
    rows = rows_of(alone[usable], history.temperature_c[:seen][usable], years, history)
    cross = (rows * _freshness(when, when[-1])[:, None]).T @ rows
    return position + 1, (day - start) / YEAR_DAYS, int(usable.sum()), cross


def alone_v(deviation_v: Floats) -> Floats:
    """Spread that each position alone would make: its distance below the highest, V. (n, p)"""
    known = np.where(np.isfinite(deviation_v), deviation_v, np.inf)
    highest = known.min(axis=1, initial=np.inf)
    return deviation_v - np.where(np.isfinite(highest), highest, np.nan)[:, None]


def _worst(history: PackHistory, older: Bools, seen: int) -> int | None:
    """Index of the position that lies lowest at the last check, of those `older` (p,): the ones
    that the last change left as they were, and that sat there at that check already."""
    last = alone_v(history.deviation_v[seen - 1 : seen])[0]
    told = older & np.isfinite(last)
    if not told.any():
        return None
    return int(np.argmax(np.where(told, last, -np.inf)))


def weakest_position(history: PackHistory, day: float) -> int | None:
    """Position (from 1) lowest at the last check of the present build up to `day`, if any is."""
    starts = build_starts(history)
    start = starts[max(int(np.searchsorted(starts, day, side="right")) - 1, 0)]
    seen = (history.days >= start) & (history.days <= day)
    told = history.deviation_v[seen]
    if not told.size or not np.any(told[-1] > 0):
        return None
    return int(np.nanargmax(told[-1])) + 1
