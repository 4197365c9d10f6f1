"""What the page of one pack shows beside its outlook."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from packs.models import Installation, Pack, VoltageCheck, Warranty
from packs.reads import comparing
from packs.reads.warranties import Term, terms_of_pack
from packs.rules.arithmetic import nominal_v
from packs.rules.diagnosis import Finding as Suspicion
from packs.rules.noise import medians, ranges
from packs.rules.voltages import to_volts
from reports.reads import pack_knowledge, pack_records, series
from reports.reads.knowledge import CheckRow, Knowledge
from reports.reads.pack_records import Check, Claimed, Place, Records, Stay
from reports.reads.vantages import DAY_S
from reports.trends.evidence import floor_v
from reports.trends.history import Floats, PackHistory, position_starts


@dataclass(frozen=True)
class Reading:
    """One check of a series: day since 1970, spread in V, and the number of its build."""

    day: float
    spread_v: float
    build: int


@dataclass(frozen=True)
class Trail:
    """Spreads through time: `read` are those of the trend, `beside` those at rest, not compared.

    `change_days`: when modules, bus bars or sense leads were changed; of changes with no check
    between them the last. `floor_v`: the spread that readings of equal positions would show by
    their noise alone.
    """

    level: str
    condition: str
    read: tuple[Reading, ...]
    beside: tuple[Reading, ...]
    change_days: tuple[float, ...]
    limit_v: float
    floor_v: float

    @property
    def build(self) -> tuple[Reading, ...]:
        """The readings since the last change."""
        return tuple(one for one in self.read if one.build == len(self.change_days))

    @property
    def last(self) -> Reading | None:
        return self.build[-1] if self.build else None


@dataclass(frozen=True)
class Seat:
    """One position of the last check, and the modules it reads.

    `first` and `last` bound the modules from 0, in parts of one where a position is a cell.
    `off_v` is V above the middle of its mates, None where nothing was read.
    """

    position: int
    first: float
    last: float
    block: int
    off_v: float | None
    tags: tuple[str, ...]
    turned: bool
    renewed_day: float | None


@dataclass(frozen=True)
class Bench:
    """The pack as it lies on the bench, with one check on it.

    `at_reference`: whether the voltages were brought to the reference current.
    """

    level: str
    condition: str
    day: float
    at_reference: bool
    module_count: int
    blocks: tuple[int, ...]
    seats: tuple[Seat, ...]
    turned: tuple[int, ...]

    @property
    def weakest(self) -> Seat | None:
        read = [seat for seat in self.seats if seat.off_v is not None]
        return min(read, key=lambda seat: seat.off_v or 0.0, default=None)

    @property
    def unread(self) -> tuple[int, ...]:
        return tuple(seat.position for seat in self.seats if seat.off_v is None)


@dataclass(frozen=True)
class Cover:
    """A warranty that stands, its term, and what was claimed on it."""

    warranty: Warranty
    term: Term
    claims: tuple[Claimed, ...]


@dataclass(frozen=True)
class PackPage:
    """Everything but the outlook and the history."""

    pack: Pack
    records: Records
    nominal_v: float
    trail: Trail
    bench: Bench | None
    last_check: Check | None
    suspicions: tuple[Suspicion, ...]
    not_comparable: str | None
    covers: tuple[Cover, ...]

    @property
    def installation(self) -> Installation | None:
        """The car it sits in now."""
        return next((row for row in self.records.installations if row.removed_at is None), None)

    @property
    def stay(self) -> Stay | None:
        """The visit that is not over."""
        return next((row for row in self.records.stays if row.is_open), None)


def gather(pack: Pack, *, at: datetime) -> PackPage:
    """What is known of the pack by now; `pack` comes with its type."""
    records = pack_records.read(pack)
    knowledge = pack_knowledge.known(records)
    history, kind = series.history(knowledge), pack.pack_type
    last = _last_check(records)
    suspicions, why_not = _judged(records, last)
    return PackPage(
        pack=pack,
        records=records,
        nominal_v=nominal_v(kind.module_count, kind.cells_per_module, kind.cell_nominal_v),
        trail=_trail(knowledge, history),
        bench=_bench(records, history, last),
        last_check=last,
        suspicions=suspicions,
        not_comparable=why_not,
        covers=tuple(_covers(records, at)),
    )


def _last_check(records: Records) -> Check | None:
    """The newest check; of one go under load and at rest, the one under load."""
    newest = records.checks[0] if records.checks else None
    if newest is None or newest.condition == "load" or newest.set_name is None:
        return newest
    loads = (
        row
        for row in records.checks
        if row.set_name == newest.set_name and row.condition == VoltageCheck.Condition.LOAD
    )
    return next(loads, newest)


def _judged(records: Records, last: Check | None) -> tuple[tuple[Suspicion, ...], str | None]:
    """What the last check points at, and why one under load does not compare."""
    if last is None or last.condition == VoltageCheck.Condition.CHARGE:
        return (), None
    kind, under_load = records.pack.pack_type, last.condition == VoltageCheck.Condition.LOAD
    rest = pack_records.mate(records, last) if under_load else None
    found = comparing.suspicions(last, rest, kind)
    if not under_load:
        return found, None
    return found, comparing.brought_to_reference(last, rest, kind).why_not


def _covers(records: Records, at: datetime) -> Iterator[Cover]:
    """The warranties that stand, the newest first."""
    ends = terms_of_pack(
        [row.warranty for row in records.promises],
        installations=records.installations,
        odometer=records.odometer,
        at=at,
    )
    for row in records.promises:
        yield Cover(row.warranty, ends[row.warranty.pk], row.claims)


def _series_of(history: PackHistory) -> tuple[str, str]:
    """Condition and level of the series that the trend is read from."""
    _, condition, level = history.group.rsplit("/", 2)
    return condition, level


def _trail(knowledge: Knowledge, history: PackHistory) -> Trail:
    condition, level = _series_of(history)
    changes = _changes(knowledge, history)
    rest: list[CheckRow] = []
    if condition == "load":
        rest = [row for row in knowledge.checks if (row.condition, row.level) == ("rest", level)]
    rest_v = ranges(to_volts(np.stack([row.units for row in rest]))) if rest else np.empty(0)
    return Trail(
        level=level,
        condition=condition,
        read=_readings(history.days, history.spread_v, changes),
        beside=_readings(np.array([row.day for row in rest]), rest_v, changes),
        change_days=tuple(changes.tolist()),
        limit_v=history.limit_v,
        floor_v=floor_v(history),
    )


def _changes(knowledge: Knowledge, history: PackHistory) -> Floats:
    """When builds with a check began: the steps of one job are one change."""
    days = history.renewal_days
    before = np.searchsorted(np.array([row.day for row in knowledge.checks]), days, side="left")
    return days[np.diff(before, append=len(knowledge.checks) + 1) > 0]


def _readings(days: Floats, spread_v: Floats, changes: Floats) -> tuple[Reading, ...]:
    builds = np.searchsorted(changes, days, side="right")
    rows = zip(days.tolist(), spread_v.tolist(), builds.tolist(), strict=True)
    return tuple(Reading(*row) for row in rows if np.isfinite(row[1]))


def _bench(records: Records, history: PackHistory, last: Check | None) -> Bench | None:
    """The last comparable check on the drawing; without one, the last as it was read."""
    if history.days.size:
        condition, level = _series_of(history)
        day, off_v = float(history.days[-1]), -history.deviation_v[-1]
        starts = position_starts(history)
    elif last is not None:
        condition, level, day = last.condition, last.level, last.taken_at.timestamp() / DAY_S
        volts = to_volts(last.voltages)
        off_v = volts - medians(volts[None, :])[0]
        starts = np.full(off_v.size, history.entry_day)
    else:
        return None
    kind, placed = records.pack.pack_type, records.places
    renewed = [start if start > history.entry_day else None for start in starts.tolist()]
    seats = tuple(
        _seat(place, level, kind.blocks, kind.cells_per_module, off, placed, renewed[place])
        for place, off in enumerate(off_v.tolist())
    )
    return Bench(
        level=level,
        condition=condition,
        day=day,
        at_reference=bool(history.days.size) and condition == "load",
        module_count=kind.module_count,
        blocks=tuple(kind.blocks),
        seats=seats,
        turned=tuple(number for number, place in sorted(placed.items()) if place.turned),
    )


def _seat(
    place: int,
    level: str,
    blocks: Sequence[int],
    cells: int,
    off_v: float,
    placed: Mapping[int, Place],
    renewed_day: float | None,
) -> Seat:
    first, last = _bounds(place, level, blocks, cells)
    numbers = range(int(first) + 1, int(np.ceil(last)) + 1)
    modules = [placed[number] for number in numbers if number in placed]
    return Seat(
        position=place + 1,
        first=first,
        last=last,
        block=int(np.searchsorted(np.cumsum(blocks), first, side="right")) + 1,
        off_v=off_v if np.isfinite(off_v) else None,
        tags=tuple(row.tag for row in modules if row.tag is not None),
        turned=any(row.turned for row in modules),
        renewed_day=renewed_day,
    )


def _bounds(place: int, level: str, blocks: Sequence[int], cells: int) -> tuple[float, float]:
    """Where a position begins and ends along the series path, in modules."""
    if level == "block":
        return float(sum(blocks[:place])), float(sum(blocks[: place + 1]))
    width = 1.0 if level == "module" else 1.0 / cells
    return place * width, (place + 1) * width
