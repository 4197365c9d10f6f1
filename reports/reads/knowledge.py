"""What is known of packs at a revision, told up to an instant, as rows and arrays.

A fact counts if it was recorded by the revision, was not void by then, and is dated by the
instant. The date of a fact is never later than when it was recorded: other people's clocks may run
five minutes ahead.
"""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from django.db.models import IntegerField, Model, QuerySet, Value
from numpy.typing import NDArray

from packs.models import (
    Failure,
    Inspection,
    Installation,
    Reassembly,
    Swap,
    SwapChange,
    Visit,
    VoltageCheck,
)
from packs.rules.builds import touched
from packs.rules.voltages import to_volts
from reports.reads.among import Among, Dated, Placed
from reports.reads.arrays import Kind, Ragged, columns, units_of
from reports.reads.vantages import DAY_S, Vantage
from reports.trends.history import Floats
from reports.trends.segments import Counts

NEVER = Value(None, IntegerField())
CONTACTS: Sequence[tuple[type[Model], str, Any]] = (
    (Swap, "done_at", "voided_revision"),
    (Inspection, "happened_at", "voided_revision"),
    (Installation, "installed_at", "voided_revision"),
    (Installation, "removed_at", "voided_revision"),
    (Visit, "opened_at", NEVER),
)


@dataclass(frozen=True)
class CheckRow:
    """One voltage check as it was stored; day since 1970, volts in 0.1 mV units."""

    day: float
    level: str
    condition: str
    current_a: float
    temperature_c: float | None
    set_name: str | None
    units: NDArray[np.int32]


@dataclass(frozen=True)
class Renewal:
    """Work that begins a build: its day, and the module positions; none means all."""

    day: float
    positions: tuple[int, ...]


@dataclass(frozen=True)
class Knowledge:
    """Everything an outlook of one pack is made from, in order of time."""

    vantage: Vantage
    checks: tuple[CheckRow, ...]
    renewals: tuple[Renewal, ...]
    failure_days: tuple[float, ...]
    first_day: float | None
    last_day: float | None


@dataclass(frozen=True, eq=False)
class Checks:
    """c voltage checks by pack, then day. pack (c,) a place among the vantages; level and
    condition (c,) places in LEVELS and CONDITIONS; set_code (c,), −1 for none, never one of two
    packs; volts, those of check k from start[k] to start[k + 1]. NaN: unknown."""

    pack: Counts
    day: Floats
    level: Counts
    condition: Counts
    current_a: Floats
    temperature_c: Floats
    set_code: Counts
    start: Counts
    volts: Floats


@dataclass(frozen=True, eq=False)
class Known:
    """Everything the outlooks of n packs are made from, in columns; rows by pack, then day.

    renewal_pack, renewal_day (r,); renewed (t,) places among the renewals, sorted, and module (t,)
    from 1 that each renewed; a renewal that names none renewed all. failure_pack, failure_day (f,);
    first_day, last_day (n,) of any fact, NaN where nothing is known.
    """

    views: tuple[Vantage, ...]
    checks: Checks
    renewal_pack: Counts
    renewal_day: Floats
    renewed: Counts
    module: Counts
    failure_pack: Counts
    failure_day: Floats
    first_day: Floats
    last_day: Floats


LEVELS = ("block", "module", "cell")
CONDITIONS = ("rest", "load", "charge")


def known(views: Sequence[Vantage]) -> Known:
    """What is known of each pack, in a few queries for all of them."""
    seen = _Views(views)
    checks = _checks(seen)
    renewals, changes = _renewals(seen)
    failures = _failures(seen)
    contacts = [_contacts(seen, model, happened, void) for model, happened, void in CONTACTS]
    dates = [(checks.pack, checks.day), renewals, failures, *contacts]
    first, last = np.full(len(views), np.inf), np.full(len(views), -np.inf)
    for pack, day in dates:
        np.minimum.at(first, pack, day)
        np.maximum.at(last, pack, day)
    return Known(
        tuple(views),
        checks,
        *renewals,
        *changes,
        *failures,
        np.where(np.isfinite(first), first, np.nan),
        np.where(np.isfinite(last), last, np.nan),
    )


class _Views:
    """Packs, revisions and instants of the vantages, as arrays."""

    def __init__(self, views: Sequence[Vantage]) -> None:
        self.numbers = np.array([view.pack.pk for view in views], dtype=np.int64)
        self.order = np.argsort(self.numbers, kind="stable")
        self.sorted = self.numbers[self.order]
        self.revision = np.array([view.revision for view in views], dtype=np.float64)
        self.module_count = [view.pack.pack_type.module_count for view in views]
        self.as_of_day = np.array([view.as_of_day for view in views], dtype=np.float64)
        self.among = Among("pack_id", self.numbers.tolist())

    def of(self, rows: QuerySet[Any]) -> QuerySet[Any]:
        return rows.filter(self.among)

    def place(self, pack_ids: Counts) -> Counts:
        """Which vantage each row is of."""
        return self.order[np.searchsorted(self.sorted, pack_ids)]

    def told(self, pack: Counts, revision: Floats, void: Floats, day: Floats) -> Counts:
        """The rows that count: recorded and not void at the revision, dated by the instant; in the
        order of the vantages, then of the days."""
        recorded = np.nan_to_num(revision, nan=0.0)
        voided = np.nan_to_num(void, nan=np.inf)
        mine = self.revision[pack]
        use = (recorded <= mine) & (voided > mine) & (day <= self.as_of_day[pack])
        rows = np.flatnonzero(use)
        return rows[np.lexsort((day[rows], pack[rows]))]


DATED = (Kind.NUMBER, Kind.REAL, Kind.REAL, Kind.INSTANT)  # pack, revision, voided by, date


def _days(instants: Counts) -> Floats:
    """Days since 1970 of microseconds."""
    return instants / 1e6 / DAY_S


def _checks(views: _Views) -> Checks:
    rows = views.of(VoltageCheck.objects.order_by("pack_id", "taken_at", "pk")).values_list(
        "pack_id", "revision", "voided_revision", Dated("taken_at"), Placed("level", LEVELS),
        Placed("condition", CONDITIONS), "current_a", "temperature_c", "set_name", "voltages",
    )  # fmt: skip
    pack_ids, revision, void, dated, level, condition, current_a, temperature_c, names, units = (
        columns(rows, *DATED, Kind.NUMBER, Kind.NUMBER, Kind.REAL, Kind.REAL, Kind.WORDS,
                Kind.UNITS)
    )  # fmt: skip
    pack, day = views.place(pack_ids), _days(dated)
    told = views.told(pack, revision, void, day)
    return _as_checks(
        pack[told], day[told], level[told], condition[told], current_a[told], temperature_c[told],
        [names[row] for row in told.tolist()], units.only(told),
    )  # fmt: skip


def _as_checks(
    pack: Counts,
    day: Floats,
    level: Counts,
    condition: Counts,
    current_a: Floats,
    temperature_c: Floats,
    names: Sequence[str | None],
    units: Ragged,
) -> Checks:
    return Checks(
        pack=pack,
        day=day,
        level=level,
        condition=condition,
        current_a=current_a,
        temperature_c=temperature_c,
        set_code=_set_codes(pack, names),
        start=units.start,
        volts=to_volts(units.values),
    )


def _set_codes(pack: Counts, names: Sequence[str | None]) -> Counts:
    if names.count(None) == len(names):
        return np.full(len(names), -1, dtype=np.int_)
    codes: dict[tuple[int, str], int] = {}
    return np.array(
        [
            -1 if name is None else codes.setdefault((one, name), len(codes))
            for one, name in zip(pack.tolist(), names, strict=True)
        ],
        dtype=np.int_,
    )


Renewals = tuple[tuple[Counts, Floats], tuple[Counts, Counts]]


def _renewals(views: _Views) -> Renewals:
    """Pack and day of each, and of what they renewed the place and the module."""
    (pack, day), (renewed, module) = _swapped(views)
    (joined, joined_day), (rejoined, beside) = _rejoined(views)
    renewed = np.concatenate([renewed, rejoined + pack.size])
    pack, day = np.concatenate([pack, joined]), np.concatenate([day, joined_day])
    order = np.lexsort((day, pack))
    renewed = np.argsort(order)[renewed]
    by_place = np.argsort(renewed, kind="stable")
    module = np.concatenate([module, beside])
    return (pack[order], day[order]), (renewed[by_place], module[by_place])


def _rejoined(views: _Views) -> Renewals:
    """Steps of reassemblies that begin a build, with what they touched."""
    rows = (
        views.of(Reassembly.objects.filter(starts_build=True))
        .order_by("pk")
        .values_list(
            "pack_id", "revision", "voided_revision", Dated("happened_at"), "part", "places"
        )
    )
    pack_ids, revision, void, dated, part, places = columns(rows, *DATED, Kind.WORDS, Kind.WORDS)
    pack, day = views.place(pack_ids), _days(dated)
    told = views.told(pack, revision, void, day)
    changed = [
        (place, module)
        for place, row in enumerate(told.tolist())
        for module in touched(part[row], json.loads(places[row]), views.module_count[pack[row]])
    ]
    renewed, module = np.array(changed, dtype=np.int_).reshape(-1, 2).T
    return (pack[told], day[told]), (renewed, module)


def _swapped(views: _Views) -> Renewals:
    swaps = views.of(Swap.objects.filter(starts_build=True))
    rows = swaps.order_by("pk").values_list(
        "pk", "pack_id", "revision", "voided_revision", Dated("done_at")
    )
    numbers, pack_ids, revision, void, dated = columns(rows, Kind.NUMBER, *DATED)
    pack, day = views.place(pack_ids), _days(dated)
    told = views.told(pack, revision, void, day)
    named = SwapChange.objects.filter(
        swap__in=swaps, swap__kind=Swap.Kinds.MODULE, position__isnull=False
    )
    swap_ids, modules = columns(
        named.order_by("swap_id", "pk").values_list("swap", "position"), Kind.NUMBER, Kind.NUMBER
    )
    place = np.full(numbers.size, -1, dtype=np.int_)
    place[told] = np.arange(told.size)
    row = np.searchsorted(numbers, swap_ids)
    # What was recorded between the two queries is in the second alone.
    renewed = np.append(place, -1)[np.where(np.append(numbers, -1)[row] == swap_ids, row, -1)]
    return (pack[told], day[told]), (renewed[renewed >= 0], modules[renewed >= 0])


def _failures(views: _Views) -> tuple[Counts, Floats]:
    rows = views.of(Failure.objects.order_by("pk")).values_list(
        "pack_id", "revision", "voided_revision", "failed_on", Dated("recorded_at")
    )
    pack_ids, revision, void, failed_on, recorded_at = columns(
        rows, Kind.NUMBER, Kind.REAL, Kind.REAL, Kind.DAY, Kind.INSTANT
    )
    pack, day = views.place(pack_ids), np.minimum(failed_on, _days(recorded_at))
    told = views.told(pack, revision, void, day)
    return pack[told], day[told]


def _contacts(views: _Views, model: type[Model], happened: str, void: Any) -> tuple[Counts, Floats]:
    """Days on which packs were seen other than by a voltage check or for a failure."""
    rows = views.of(model._default_manager.exclude(**{happened: None})).order_by()
    told = rows.values_list("pack_id", "revision", void, Dated(happened))
    pack_ids, revision, voided, dated = columns(told, *DATED)
    pack, day = views.place(pack_ids), _days(dated)
    counted = views.told(pack, revision, voided, day)
    return pack[counted], day[counted]


def of_one(knowledge: Knowledge) -> Known:
    """What is known of one pack, in columns."""
    checks, renewals = knowledge.checks, knowledge.renewals
    changed = [(place, module) for place, row in enumerate(renewals) for module in row.positions]
    renewed, module = np.array(changed, dtype=np.int_).reshape(-1, 2).T
    first, last = (
        np.array([np.nan if day is None else day])
        for day in (knowledge.first_day, knowledge.last_day)
    )
    return Known(
        views=(knowledge.vantage,),
        checks=_as_checks(
            np.zeros(len(checks), dtype=np.int_),
            np.array([row.day for row in checks], dtype=np.float64),
            np.array([LEVELS.index(row.level) for row in checks], dtype=np.int_),
            np.array([CONDITIONS.index(row.condition) for row in checks], dtype=np.int_),
            np.array([row.current_a for row in checks], dtype=np.float64),
            np.array([row.temperature_c for row in checks], dtype=np.float64),
            [row.set_name for row in checks],
            units_of([row.units for row in checks]),
        ),
        renewal_pack=np.zeros(len(renewals), dtype=np.int_),
        renewal_day=np.array([row.day for row in renewals], dtype=np.float64),
        renewed=renewed,
        module=module,
        failure_pack=np.zeros(len(knowledge.failure_days), dtype=np.int_),
        failure_day=np.array(knowledge.failure_days, dtype=np.float64),
        first_day=first,
        last_day=last,
    )
