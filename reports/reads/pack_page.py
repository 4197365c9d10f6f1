"""What the page of one pack shows beside its outlook."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from django.db.models import Prefetch, QuerySet

from packs.models import (
    Failure,
    Finding,
    Inspection,
    Installation,
    Pack,
    Placement,
    Swap,
    SwapChange,
    Visit,
    VoltageCheck,
    Warranty,
)
from packs.reads import comparing
from packs.reads.warranties import Term, terms
from packs.rules.arithmetic import nominal_v
from packs.rules.diagnosis import Finding as Suspicion
from packs.rules.noise import medians, ranges
from packs.rules.voltages import to_volts
from reports.reads import series
from reports.reads.knowledge import DAY_S, CheckRow, Knowledge, known, vantages
from reports.trends.evidence import floor_v
from reports.trends.history import Floats, PackHistory, position_starts

INSPECTIONS_SHOWN = 3


@dataclass(frozen=True)
class Reading:
    """One check of a series: day since 1970, spread in V, and the number of its build."""

    day: float
    spread_v: float
    build: int


@dataclass(frozen=True)
class Trail:
    """Spreads through time: `read` are those of the trend, `beside` those at rest, not compared.

    `change_days`: when modules, bus bars or sense leads were changed. `floor_v`: the spread that
    readings of equal positions would show by their noise alone.
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
class PackPage:
    """Everything but the outlook."""

    pack: Pack
    nominal_v: float
    installations: tuple[Installation, ...]
    visit: Visit | None
    trail: Trail
    bench: Bench | None
    checks: int
    last_check: VoltageCheck | None
    suspicions: tuple[Suspicion, ...]
    not_comparable: str | None
    inspections: tuple[Inspection, ...]
    swaps: tuple[Swap, ...]
    failures: tuple[Failure, ...]
    promises: tuple[tuple[Warranty, Term], ...]

    @property
    def installation(self) -> Installation | None:
        """The car it sits in now."""
        return next((row for row in self.installations if row.removed_at is None), None)


def gather(pack: Pack, *, at: datetime) -> PackPage:
    """What is known of the pack by now."""
    knowledge = known(vantages([pack]))[0]
    history = series.history(knowledge)
    kind = pack.pack_type
    last = _last_check(pack)
    derived = None if last is None else comparing.derive([last])[last.pk]
    return PackPage(
        pack=pack,
        nominal_v=nominal_v(kind.module_count, kind.cells_per_module, kind.cell_nominal_v),
        installations=tuple(_installations(pack)),
        visit=Visit.objects.filter(pack=pack).exclude(state=Visit.State.CLOSED).last(),
        trail=_trail(knowledge, history),
        bench=_bench(knowledge, history, last),
        checks=len(knowledge.checks),
        last_check=last,
        suspicions=() if derived is None else derived.findings,
        not_comparable=derived.why_not if derived and last and last.condition == "load" else None,
        inspections=tuple(_inspections(pack)),
        swaps=tuple(_swaps(pack)),
        failures=tuple(Failure.objects.filter(pack=pack, voided_at=None).order_by("-failed_on")),
        promises=tuple(_promises(pack, at)),
    )


def _last_check(pack: Pack) -> VoltageCheck | None:
    """The newest check; of one go under load and at rest, the one under load."""
    rows = VoltageCheck.objects.select_related("pack__pack_type", "equipment").filter(
        pack=pack, voided_at=None
    )
    newest = rows.order_by("-taken_at", "-pk").first()
    if newest is None or newest.condition == "load" or newest.set_name is None:
        return newest
    mate = rows.filter(set_name=newest.set_name, condition="load").order_by("taken_at").last()
    return mate or newest


def _installations(pack: Pack) -> QuerySet[Installation]:
    rows = Installation.objects.select_related("vehicle__customer")
    return rows.filter(pack=pack, voided_at=None).order_by("-installed_at", "-pk")


def _swaps(pack: Pack) -> QuerySet[Swap]:
    changes = SwapChange.objects.select_related("removed", "fitted").order_by("position", "pk")
    rows = Swap.objects.filter(pack=pack, voided_at=None)
    return rows.prefetch_related(Prefetch("changes", changes)).order_by("-done_at", "-pk")


def _inspections(pack: Pack) -> QuerySet[Inspection]:
    findings = Prefetch("findings", Finding.objects.order_by("-grade", "pk"))
    rows = Inspection.objects.filter(pack=pack, voided_at=None).prefetch_related(findings)
    return rows.order_by("-happened_at", "-pk")[:INSPECTIONS_SHOWN]


def _promises(pack: Pack, at: datetime) -> Iterator[tuple[Warranty, Term]]:
    """The warranties that stand, the newest first, with their terms."""
    rows = Warranty.objects.filter(pack=pack, voided_at=None).order_by("-starts_on", "-pk")
    ends = terms(list(rows), at=at)
    for row in rows:
        yield row, ends[row.pk]


def _series_of(history: PackHistory) -> tuple[str, str]:
    """Condition and level of the series that the trend is read from."""
    _, condition, level = history.group.rsplit("/", 2)
    return condition, level


def _trail(knowledge: Knowledge, history: PackHistory) -> Trail:
    condition, level = _series_of(history)
    changes = history.renewal_days
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


def _readings(days: Floats, spread_v: Floats, changes: Floats) -> tuple[Reading, ...]:
    builds = np.searchsorted(changes, days, side="right")
    rows = zip(days.tolist(), spread_v.tolist(), builds.tolist(), strict=True)
    return tuple(Reading(*row) for row in rows if np.isfinite(row[1]))


def _bench(knowledge: Knowledge, history: PackHistory, last: VoltageCheck | None) -> Bench | None:
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
    kind = knowledge.vantage.pack.pack_type
    placed = _placed(knowledge.vantage.pack)
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
        turned=tuple(
            number
            for number, placement in sorted(placed.items())
            if placement.orientation == Placement.Orientation.REVERSED
        ),
    )


def _placed(pack: Pack) -> Mapping[int, Placement]:
    rows = Placement.objects.select_related("module").filter(pack=pack, removed_at=None)
    return {row.position: row for row in rows}


def _seat(
    place: int,
    level: str,
    blocks: Sequence[int],
    cells: int,
    off_v: float,
    placed: Mapping[int, Placement],
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
        tags=tuple(_tags(modules)),
        turned=any(row.orientation == Placement.Orientation.REVERSED for row in modules),
        renewed_day=renewed_day,
    )


def _tags(modules: Sequence[Placement]) -> Iterator[str]:
    for row in modules:
        if row.module is not None:
            yield row.module.tag


def _bounds(place: int, level: str, blocks: Sequence[int], cells: int) -> tuple[float, float]:
    """Where a position begins and ends along the series path, in modules."""
    if level == "block":
        return float(sum(blocks[:place])), float(sum(blocks[: place + 1]))
    width = 1.0 if level == "module" else 1.0 / cells
    return place * width, (place + 1) * width
