"""From what is known of a pack to the one series of like checks that its trend is read from."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from packs.models import PackType
from packs.reads import types
from packs.rules.leveling import as_equal
from packs.rules.noise import medians, ranges
from packs.rules.pairing import pair
from packs.rules.plausible import ZERO_V
from packs.rules.reference import ACTIVATION_EV, at_reference_many
from packs.rules.voltages import to_volts
from reports.reads.knowledge import DAY_S, CheckRow, Knowledge, Renewal
from reports.trends.history import Floats, PackHistory

ENOUGH_UNDER_LOAD = 2  # comparable checks in the build from which the load series is preferred
LEAST_POSITIONS = 2  # a single position has no mates to be compared with
BUILDS_APART_S = 1e10  # pushes the builds of a pack apart, so that no pair is made across a change


@dataclass(frozen=True)
class Series:
    """Like checks of one level and condition: days (n,), spreads (n,), voltages (n, p) in V at
    the reference, temperatures (n,), only those that compare."""

    level: str
    condition: str
    days: Floats
    spread_v: Floats
    voltages_v: Floats
    temperature_c: Floats

    def since(self, day: float) -> int:
        """How many of the checks were taken from that day on."""
        return int((self.days >= day).sum())


def history(knowledge: Knowledge) -> PackHistory:
    """The pack as the trends want it: its best series, its renewals, its failures.

    Under load where enough of the present build is comparable, else whatever there is most of.
    """
    pack_type = knowledge.vantage.pack.pack_type
    chosen = _choose(list(_candidates(knowledge)), knowledge)
    limits = knowledge.vantage.limits
    limit_v = (
        limits.rest_spread_limit_v if chosen.condition == "rest" else limits.load_spread_limit_v
    )
    entry = knowledge.vantage.as_of_day if knowledge.first_day is None else knowledge.first_day
    return PackHistory(
        days=chosen.days,
        spread_v=chosen.spread_v,
        deviation_v=medians(chosen.voltages_v)[:, None] - chosen.voltages_v,
        temperature_c=chosen.temperature_c,
        renewal_days=np.array([renewal.day for renewal in knowledge.renewals], dtype=np.float64),
        renewed=_renewed(knowledge.renewals, chosen.level, pack_type),
        failure_days=np.array(knowledge.failure_days, dtype=np.float64),
        entry_day=entry,
        contact_day=entry if knowledge.last_day is None else knowledge.last_day,
        limit_v=limit_v,
        group=f"{pack_type.code}/{chosen.condition}/{chosen.level}",
    )


def _choose(candidates: Sequence[Series], knowledge: Knowledge) -> Series:
    """The series to read: enough load checks first, then the most checks in the build."""
    start = knowledge.renewals[-1].day if knowledge.renewals else -np.inf

    def worth(series: Series) -> tuple[bool, int, int]:
        in_build = series.since(start)
        enough = series.condition == "load" and in_build >= ENOUGH_UNDER_LOAD
        return enough, in_build, series.days.size

    return max(candidates, key=worth)


def _candidates(knowledge: Knowledge) -> Iterator[Series]:
    """Each level under load and at rest, in the order in which ties are settled."""
    pack_type = knowledge.vantage.pack.pack_type
    for level in ("block", "module", "cell"):
        rows = [check for check in knowledge.checks if check.level == level]
        positions = len(types.cells(pack_type, level))
        if positions < LEAST_POSITIONS:
            rows = []
        if rows or level == "block":
            rest = [row for row in rows if row.condition == "rest"]
            load = [row for row in rows if row.condition == "load"]
            yield _load_series(level, load, rest, knowledge)
            yield _rest_series(level, rest, pack_type)


def _volts(rows: Sequence[CheckRow], cells: NDArray[np.int64]) -> Floats:
    """(n, p) in V as if all positions had the same cells; NaN where nothing was read.

    A lead that reads nothing tells of no module.
    """
    if not rows:
        return np.empty((0, cells.size))
    volts = to_volts(np.stack([row.units for row in rows]))
    volts[np.abs(volts) < ZERO_V] = np.nan
    return as_equal(volts, cells)


def _temperatures(rows: Sequence[CheckRow]) -> Floats:
    return np.array(
        [np.nan if row.temperature_c is None else row.temperature_c for row in rows],
        dtype=np.float64,
    )


def _days(rows: Sequence[CheckRow]) -> Floats:
    return np.array([row.day for row in rows], dtype=np.float64)


def _rest_series(level: str, rows: Sequence[CheckRow], pack_type: PackType) -> Series:
    volts = _volts(rows, types.cells(pack_type, level))
    return _comparable(
        Series(level, "rest", _days(rows), ranges(volts), volts, _temperatures(rows))
    )


def _load_series(
    level: str,
    load: Sequence[CheckRow],
    rest: Sequence[CheckRow],
    knowledge: Knowledge,
) -> Series:
    """Load checks, each position brought to the reference current and temperature."""
    limits, pack_type = knowledge.vantage.limits, knowledge.vantage.pack.pack_type
    cells = types.cells(pack_type, level)
    partner = _pairs(load, rest, knowledge.renewals)
    mates = [rest[place] if place >= 0 else None for place in partner]
    rest_volts = np.full((len(load), cells.size), np.nan)
    if rest and (partner >= 0).any():
        rest_volts[partner >= 0] = _volts(rest, cells)[partner[partner >= 0]]
    temperatures = _temperatures(load)
    spread_v, volts = at_reference_many(
        _volts(load, cells),
        np.array([row.current_a for row in load], dtype=np.float64),
        rest_volts,
        np.array([0.0 if mate is None else mate.current_a for mate in mates], dtype=np.float64),
        temperatures,
        limits.reference_load_a,
        limits.reference_temperature_c,
        ACTIVATION_EV[pack_type.chemistry],
    )
    return _comparable(Series(level, "load", _days(load), spread_v, volts, temperatures))


def _comparable(series: Series) -> Series:
    """Only the checks that have a spread to compare."""
    told = np.isfinite(series.spread_v)
    return Series(
        series.level,
        series.condition,
        series.days[told],
        series.spread_v[told],
        series.voltages_v[told],
        series.temperature_c[told],
    )


def _pairs(
    load: Sequence[CheckRow], rest: Sequence[CheckRow], renewals: Sequence[Renewal]
) -> NDArray[np.int64]:
    """Which rest check goes with each load check of the same build; -1 for none."""
    names = sorted({row.set_name for row in (*load, *rest) if row.set_name is not None})
    code = {name: place for place, name in enumerate(names)}
    changes = np.array([renewal.day for renewal in renewals], dtype=np.float64)

    def times(rows: Sequence[CheckRow]) -> Floats:
        days = _days(rows)
        return days * DAY_S + np.searchsorted(changes, days, side="right") * BUILDS_APART_S

    def sets(rows: Sequence[CheckRow]) -> NDArray[np.int64]:
        return np.array(
            [-1 if row.set_name is None else code[row.set_name] for row in rows], dtype=np.int64
        )

    return pair(times(load), sets(load), times(rest), sets(rest))


def _renewed(renewals: Sequence[Renewal], level: str, pack_type: PackType) -> NDArray[np.bool_]:
    """(k, p): which positions of that level each renewal touched."""
    positions = len(types.cells(pack_type, level))
    rows = [_touched(renewal, level, pack_type) for renewal in renewals]
    return np.array(rows, dtype=bool).reshape(len(renewals), positions)


def _touched(renewal: Renewal, level: str, pack_type: PackType) -> NDArray[np.bool_]:
    """(p,): the positions of a level in which a renewed module sits; all where none is named."""
    positions = len(types.cells(pack_type, level))
    if not renewal.positions:
        return np.ones(positions, dtype=bool)
    modules = np.array(renewal.positions) - 1
    if level == "cell":
        return np.isin(np.arange(positions) // pack_type.cells_per_module, modules)
    touched = np.zeros(positions, dtype=bool)
    touched[_position_of_module(level, pack_type)[modules]] = True
    return touched


def _position_of_module(level: str, pack_type: PackType) -> NDArray[np.int64]:
    """For each module the position, from 0, that it is read at: its block, or itself."""
    if level == "block":
        return np.repeat(np.arange(pack_type.block_count), pack_type.blocks)
    return np.arange(pack_type.module_count)
