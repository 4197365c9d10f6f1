"""What is known of packs at a revision, told up to an instant, as rows and arrays.

A fact counts if it was recorded by the revision, was not void by then, and is dated by the
instant. The date of a fact is never later than when it was recorded: other people's clocks may run
five minutes ahead.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time
from typing import Any

import numpy as np
from django.db.models import IntegerField, Max, Model, Q, Value
from numpy.typing import NDArray

from packs.models import (
    Failure,
    HistoryEntry,
    Inspection,
    Installation,
    Pack,
    PackTypeVersion,
    Swap,
    SwapChange,
    Visit,
    VoltageCheck,
)
from packs.reads.types import Limits, limits_of

DAY_S = 86_400.0
NEVER = Value(None, IntegerField())
CONTACTS: Sequence[tuple[type[Model], str, Any]] = (
    (Swap, "done_at", "voided_revision"),
    (Inspection, "happened_at", "voided_revision"),
    (Installation, "installed_at", "voided_revision"),
    (Installation, "removed_at", "voided_revision"),
    (Visit, "opened_at", NEVER),
)


@dataclass(frozen=True)
class Vantage:
    """A pack, the revision it is known at, and the instant up to which facts count."""

    pack: Pack
    revision: int
    as_of: datetime
    limits: Limits

    @property
    def as_of_day(self) -> float:
        return self.as_of.timestamp() / DAY_S


@dataclass(frozen=True)
class CheckRow:
    """One comparable voltage check as it was stored; day since 1970, volts in 0.1 mV units."""

    day: float
    level: str
    condition: str
    current_a: float
    temperature_c: float | None
    set_name: str | None
    units: NDArray[np.int32]


@dataclass(frozen=True)
class Renewal:
    """A change that begins a build: its day, and the module positions; none means all."""

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


def vantages(packs: Iterable[Pack], *, as_of: datetime | None = None) -> list[Vantage]:
    """Packs at their present revision; told up to `as_of`, or to their last record."""
    rows = list(packs)
    limits = ratings({pack.pack_type_id for pack in rows}, known_at=as_of)
    return [
        Vantage(pack, pack.revision, as_of or pack.settled_at, limits[pack.pack_type_id])
        for pack in rows
    ]


def ratings(pack_type_ids: Iterable[int], *, known_at: datetime | None) -> Mapping[int, Limits]:
    """By type, the ratings in force at an instant, or now; before the first version, the first."""
    found: dict[int, Limits] = {}
    versions = PackTypeVersion.objects.filter(pack_type_id__in=list(pack_type_ids))
    for version in versions.order_by("pack_type_id", "number"):
        in_force = known_at is None or version.recorded_at <= known_at
        if in_force or version.pack_type_id not in found:
            found[version.pack_type_id] = limits_of(version)
    return found


def revision_at(pack: Pack, known_at: datetime) -> int:
    """The pack's newest revision recorded by that instant; 0 where it was not yet known."""
    by_then = Q(pack=pack, recorded_at__lte=known_at)
    rows = (VoltageCheck.objects.filter(by_then), HistoryEntry.objects.filter(by_then))
    return max(found.aggregate(newest=Max("revision"))["newest"] or 0 for found in rows)


def known(views: Sequence[Vantage]) -> list[Knowledge]:
    """What is known of each pack, in a few queries for all of them."""
    by_pack = {view.pack.pk: view for view in views}
    checks = _grouped(_check_rows(by_pack))
    renewals = _grouped(_renewal_rows(by_pack))
    failures = _grouped(_failure_rows(by_pack))
    contacts = _grouped(_contact_rows(by_pack))
    return [
        _knowledge(
            view,
            checks.get(pk, []),
            renewals.get(pk, []),
            failures.get(pk, []),
            contacts.get(pk, []),
        )
        for pk, view in by_pack.items()
    ]


def _knowledge(
    view: Vantage,
    checks: list[CheckRow],
    renewals: list[Renewal],
    failures: list[float],
    contacts: list[float],
) -> Knowledge:
    days = [*contacts, *failures, *(check.day for check in checks)]
    return Knowledge(
        vantage=view,
        checks=tuple(sorted(checks, key=lambda check: check.day)),
        renewals=tuple(sorted(renewals, key=lambda renewal: renewal.day)),
        failure_days=tuple(sorted(failures)),
        first_day=min(days, default=None),
        last_day=max(days, default=None),
    )


def _grouped(rows: Iterable[tuple[int, Any]]) -> Mapping[int, list[Any]]:
    found = defaultdict(list)
    for pk, row in rows:
        found[pk].append(row)
    return found


def _counts(view: Vantage, revision: int | None, voided_revision: int | None) -> bool:
    """Whether a fact was recorded, and not void, at the revision."""
    return (revision or 0) <= view.revision and (
        voided_revision is None or voided_revision > view.revision
    )


def _day(view: Vantage, happened_at: datetime, recorded_at: datetime) -> float | None:
    """The day a fact is dated, or None where that is after the vantage."""
    when = min(happened_at, recorded_at)
    return None if when > view.as_of else when.timestamp() / DAY_S


def _check_rows(by_pack: Mapping[int, Vantage]) -> Iterable[tuple[int, CheckRow]]:
    rows = (
        VoltageCheck.objects.filter(pack_id__in=by_pack.keys())
        .order_by("pack_id", "taken_at", "pk")
        .values_list(
            "pack_id", "revision", "voided_revision", "taken_at", "recorded_at", "level",
            "condition", "current_a", "temperature_c", "set_name", "voltages",
        )
    )  # fmt: skip
    for pk, revision, void, taken_at, recorded_at, *rest in rows.iterator(chunk_size=2000):
        view = by_pack[pk]
        day = _day(view, taken_at, recorded_at) if _counts(view, revision, void) else None
        if day is not None:
            yield pk, CheckRow(day, *rest)


def _renewal_rows(by_pack: Mapping[int, Vantage]) -> Iterable[tuple[int, Renewal]]:
    swaps = Swap.objects.filter(pack_id__in=by_pack.keys(), starts_build=True)
    rows = swaps.values_list("pk", "pack_id", "revision", "voided_revision", "done_at",
                             "recorded_at", "kind")  # fmt: skip
    positions = _grouped(
        SwapChange.objects.filter(swap__in=swaps).values_list("swap_id", "position")
    )
    for pk, pack_id, revision, void, done_at, recorded_at, kind in rows:
        view = by_pack[pack_id]
        day = _day(view, done_at, recorded_at) if _counts(view, revision, void) else None
        if day is not None:
            named = tuple(positions.get(pk, ())) if kind == Swap.Kinds.MODULE else ()
            yield pack_id, Renewal(day, named)


def _failure_rows(by_pack: Mapping[int, Vantage]) -> Iterable[tuple[int, float]]:
    rows = Failure.objects.filter(pack_id__in=by_pack.keys()).values_list(
        "pack_id", "revision", "voided_revision", "failed_on", "recorded_at"
    )
    for pk, revision, void, failed_on, recorded_at in rows:
        view, begun = by_pack[pk], datetime.combine(failed_on, time.min, tzinfo=UTC)
        day = _day(view, begun, recorded_at) if _counts(view, revision, void) else None
        if day is not None:
            yield pk, day


def _contact_rows(by_pack: Mapping[int, Vantage]) -> Iterable[tuple[int, float]]:
    """Days on which the pack was seen other than by a voltage check or for a failure."""
    for model, happened, void in CONTACTS:
        seen = model._default_manager.filter(pack_id__in=by_pack.keys()).exclude(**{happened: None})
        rows: Any = seen.values_list("pack_id", "revision", void, happened, "recorded_at")
        for pk, revision, voided, happened_at, recorded_at in rows:
            view = by_pack[pk]
            day = _day(view, happened_at, recorded_at) if _counts(view, revision, voided) else None
            if day is not None:
                yield pk, day
