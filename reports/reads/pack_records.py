"""The rows that the page of one pack is made from: each table is read once."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import cached_property
from itertools import groupby
from operator import itemgetter
from typing import Any

import numpy as np
from django.db.models import (
    CharField,
    DateTimeField,
    F,
    IntegerField,
    QuerySet,
    TextField,
    Value,
)
from django.db.models.functions import Cast
from numpy.typing import NDArray

from packs.models import (
    Failure,
    Finding,
    Inspection,
    Installation,
    Pack,
    Placement,
    Swap,
    Visit,
    VoltageCheck,
    Warranty,
)
from packs.reads import beginnings, comparing
from packs.reads.beginnings import Rejoining
from packs.reads.history import By, Checked
from packs.reads.warranties import with_claimed


@dataclass(frozen=True)
class Check(Checked):
    """A voltage check as it was stored, voided or not; voltages in units of 0.1 mV."""

    recorded_at: datetime
    temperature_c: float | None
    set_name: str | None
    odometer_km: int | None
    voltages: NDArray[np.int32]
    suspect: Sequence[Mapping[str, Any]]


@dataclass(frozen=True)
class Change:
    """One position or slot of a swap, with the tags that are known."""

    position: int | None
    slot: str
    removed: str | None
    fitted: str | None


@dataclass(frozen=True)
class Work:
    """A swap that stands, its changes by position."""

    done_at: datetime
    recorded_at: datetime
    kind: str
    starts_build: bool
    changes: tuple[Change, ...]


@dataclass(frozen=True)
class Found:
    """One thing that an inspection found."""

    part: str
    finding: str
    grade: int
    position: int | None
    note: str

    @property
    def word(self) -> str:
        return str(Finding.Kinds(self.finding).label).lower()


@dataclass(frozen=True)
class Look:
    """An inspection that stands, the worst of what it found first."""

    happened_at: datetime
    recorded_at: datetime
    action: str
    found: tuple[Found, ...]


@dataclass(frozen=True)
class Stay:
    """A visit, as it stands now."""

    pk: int
    opened_at: datetime
    recorded_at: datetime
    complaint: str
    state: str
    waits_for: str
    promised_at: datetime | None
    odometer_km: int | None

    @property
    def is_open(self) -> bool:
        return self.state != Visit.State.CLOSED


@dataclass(frozen=True)
class Failed:
    """A failure that stands."""

    failed_on: date
    recorded_at: datetime
    cause: str
    how_known: str


@dataclass(frozen=True)
class Claimed:
    """A claim that stands: on which visit, and what was decided."""

    visit_id: int | None
    decision: str


@dataclass(frozen=True)
class Promise:
    """A warranty that stands, with its claims."""

    warranty: Warranty
    claims: tuple[Claimed, ...]


@dataclass(frozen=True)
class Place:
    """Who sits at a position now, and which way round."""

    tag: str | None
    turned: bool


@dataclass(frozen=True)
class Records:
    """Everything recorded of a pack but its history's other lines, newest first."""

    pack: Pack
    every_check: tuple[Check, ...]
    works: tuple[Work, ...]
    rejoinings: tuple[Rejoining, ...]
    looks: tuple[Look, ...]
    installations: tuple[Installation, ...]
    stays: tuple[Stay, ...]
    failures: tuple[Failed, ...]
    promises: tuple[Promise, ...]
    places: Mapping[int, Place]

    @cached_property
    def checks(self) -> tuple[Check, ...]:
        """Those that count."""
        return tuple(row for row in self.every_check if not row.voided)

    @property
    def rebuilt_at(self) -> list[datetime]:
        """When each build but the first began, the oldest first."""
        begun = [row.done_at for row in self.works if row.starts_build]
        return sorted([*begun, *(row.happened_at for row in self.rejoinings)])

    @property
    def odometer(self) -> tuple[datetime, int] | None:
        """When the odometer was last read, and at what, km."""
        read = [(row.taken_at, row.odometer_km) for row in self.checks]
        read += [(row.opened_at, row.odometer_km) for row in self.stays]
        return max(((when, km) for when, km in read if km is not None), default=None)


def read(pack: Pack) -> Records:
    """What is recorded of the pack, in eight queries however much it is."""
    stays, failures = _stays_and_failures(pack)
    return Records(
        pack=pack,
        every_check=_checks(pack),
        works=_works(pack),
        rejoinings=beginnings.rejoinings(pack),
        looks=_looks(pack),
        installations=tuple(_installations(pack)),
        stays=stays,
        failures=failures,
        promises=_promises(pack),
        places=_places(pack),
    )


def _checks(pack: Pack) -> tuple[Check, ...]:
    rows = VoltageCheck.objects.filter(pack=pack).order_by("-taken_at", "-pk")
    return tuple(
        Check(*row, voided=voided_at is not None, by=By(client, writer, doer))
        for *row, voided_at, client, writer, doer in rows.values_list(
            "pk", "revision", "taken_at", "level", "condition", "current_a", "spread_v",
            "weakest_position", "recorded_at", "temperature_c", "set_name", "odometer_km",
            "voltages", "suspect", "voided_at", "client__name", "recorded_by__code",
            "done_by__code",
        )
    )  # fmt: skip


def _works(pack: Pack) -> tuple[Work, ...]:
    rows = Swap.objects.filter(pack=pack, voided_at=None)
    rows = rows.order_by("-done_at", "-pk", "changes__position", "changes__pk")
    told = rows.values_list(
        "pk", "done_at", "recorded_at", "kind", "starts_build", "changes__pk",
        "changes__position", "changes__slot", "changes__removed__tag", "changes__fitted__tag",
    )  # fmt: skip
    return tuple(
        Work(
            done_at,
            recorded_at,
            kind,
            starts_build,
            tuple(Change(*row[6:]) for row in some if row[5] is not None),
        )
        for (_, done_at, recorded_at, kind, starts_build), some in _headed(told, 5)
    )


def _looks(pack: Pack) -> tuple[Look, ...]:
    rows = Inspection.objects.filter(pack=pack, voided_at=None)
    rows = rows.order_by("-happened_at", "-pk", "-findings__grade", "findings__pk")
    told = rows.values_list(
        "pk", "happened_at", "recorded_at", "action", "findings__pk", "findings__part",
        "findings__finding", "findings__grade", "findings__position", "findings__note",
    )  # fmt: skip
    return tuple(
        Look(
            happened_at,
            recorded_at,
            action,
            tuple(Found(*row[5:]) for row in some if row[4] is not None),
        )
        for (_, happened_at, recorded_at, action), some in _headed(told, 4)
    )


def _headed(rows: Any, width: int) -> list[tuple[Any, list[Any]]]:
    """Joined rows by what stands once, in its order."""
    head = itemgetter(slice(width))
    return [(key, list(some)) for key, some in groupby(rows, head)]


def _installations(pack: Pack) -> QuerySet[Installation]:
    rows = Installation.objects.select_related("vehicle__customer")
    return rows.filter(pack=pack, voided_at=None).order_by("-installed_at", "-pk")


def _stays_and_failures(pack: Pack) -> tuple[tuple[Stay, ...], tuple[Failed, ...]]:
    """Both are few and short: one query reads them together."""
    visits = Visit.objects.filter(pack=pack).order_by().values_list(
        Value("visit", CharField()), "pk", F("opened_at"), "recorded_at", "complaint", "state",
        "waits_for", "promised_at", "odometer_km",
    )  # fmt: skip
    failures = Failure.objects.filter(pack=pack, voided_at=None).order_by().values_list(
        Value("failure", CharField()), "pk", Cast("failed_on", DateTimeField()), "recorded_at",
        Cast("cause", TextField()), "how_known", Value("", CharField()),
        Value(None, DateTimeField()), Value(None, IntegerField()),
    )  # fmt: skip
    rows = sorted(visits.union(failures, all=True), key=itemgetter(2, 1), reverse=True)
    return (
        tuple(Stay(*row) for kind, *row in rows if kind == "visit"),
        tuple(
            Failed(begun.astimezone(UTC).date(), recorded_at, cause, how)
            for kind, _, begun, recorded_at, cause, how, *_ in rows
            if kind == "failure"
        ),
    )


def _promises(pack: Pack) -> tuple[Promise, ...]:
    rows = with_claimed(Warranty.objects.filter(pack=pack, voided_at=None)).annotate(
        claim=F("claims"),
        claim_visit=F("claims__visit"),
        claim_decision=F("claims__decision"),
        claim_voided_at=F("claims__voided_at"),
    )
    joined: Any = rows.order_by("-starts_on", "-pk", "claims__pk")
    return tuple(
        Promise(some[0], tuple(_standing_claims(some)))
        for some in (list(group) for _, group in groupby(joined, lambda row: row.pk))
    )


def _standing_claims(rows: Sequence[Any]) -> list[Claimed]:
    return [
        Claimed(row.claim_visit, row.claim_decision)
        for row in rows
        if row.claim is not None and row.claim_voided_at is None
    ]


def _places(pack: Pack) -> dict[int, Place]:
    rows = Placement.objects.filter(pack=pack, removed_at=None)
    return {
        position: Place(tag, orientation == Placement.Orientation.REVERSED)
        for position, orientation, tag in rows.values_list("position", "orientation", "module__tag")
    }


def mate(records: Records, load: Check) -> Check | None:
    """The check at rest that pairs with one under load, of the same build."""
    rests = [row for row in records.checks if row.condition == VoltageCheck.Condition.REST]
    return comparing.mate(load, rests[::-1], records.rebuilt_at)
