"""Points of view: a pack, the revision that it is known at, the instant up to which facts count."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cached_property

import numpy as np
from django.db.models import Max, Q

from packs.models import HistoryEntry, Pack, PackType, PackTypeVersion, VoltageCheck
from packs.reads.types import Limits, limits_of
from reports.reads.among import Among
from reports.reads.arrays import Kind, columns
from reports.trends.history import Bools
from reports.trends.segments import Counts

DAY_S = 86_400.0
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Subject:
    """As much of a pack as an outlook needs: making a model of each costs more than to read it."""

    pk: int
    serial: str
    pack_type: PackType
    settled_at: datetime

    @property
    def pack_type_id(self) -> int:
        return self.pack_type.pk


@dataclass(frozen=True)
class Vantage:
    """A pack, the revision it is known at, and the instant up to which facts count."""

    pack: Pack | Subject
    revision: int
    as_of: datetime
    limits: Limits

    @cached_property
    def as_of_day(self) -> float:
        return self.as_of.timestamp() / DAY_S


@dataclass(frozen=True, eq=False)
class Standing:
    """How n packs stand, by number: what changes with every write about them, (n,) each. Instants
    in microseconds since 1970, `arrays.UNKNOWN` for none."""

    number: Counts
    pack_type: Counts
    revision: Counts
    settled_us: Counts
    due_us: Counts

    def same(self, before: "Standing") -> Bools:
        """Which stand at the revision of before, and are owed since the same instant. (n,)"""
        then = np.searchsorted(before.number, self.number)
        revision, due_us = before.revision[then], before.due_us[then]
        found: Bools = (self.revision == revision) & (self.due_us == due_us)
        return found


STANDING = ("pk", "pack_type_id", "revision", "settled_at", "estimate_due_at")
KINDS = (Kind.NUMBER, Kind.NUMBER, Kind.NUMBER, Kind.INSTANT, Kind.INSTANT)


def standing(numbers: Sequence[int]) -> tuple[Standing, list[str]]:
    """These packs as they stand, and their serials."""
    rows = Pack.objects.filter(Among("pk", numbers)).order_by("pk")
    *found, serials = columns(rows.values_list(*STANDING, "serial"), *KINDS, Kind.WORDS)
    return Standing(*found), serials


def locked(numbers: Sequence[int]) -> Standing:
    """The same, and nobody else writes about them until the transaction ends."""
    rows = Pack.objects.select_for_update().filter(Among("pk", numbers)).order_by("pk")
    return Standing(*columns(rows.values_list(*STANDING), *KINDS))


def looked_at(numbers: Sequence[int], *, at: datetime) -> tuple[Standing, list[Vantage]]:
    """These packs as they stand, each looked at from now, but never from before its own last
    record, whatever the clocks say."""
    stand, serials = standing(numbers)
    found = _vantages(stand, serials, as_of=None)
    return stand, [
        Vantage(one.pack, one.revision, max(at, one.as_of + timedelta.resolution), one.limits)
        for one in found
    ]


def vantages_of(numbers: Sequence[int], *, as_of: datetime | None) -> list[Vantage]:
    """These packs at their present revision; told up to `as_of`, or to their last record."""
    return _vantages(*standing(numbers), as_of=as_of)


def _vantages(stand: Standing, serials: Sequence[str], *, as_of: datetime | None) -> list[Vantage]:
    types = PackType.objects.in_bulk(np.unique(stand.pack_type).tolist())
    limits = ratings(types, known_at=as_of)
    kinds, settled = stand.pack_type.tolist(), map(instant, stand.settled_us.tolist())
    rows = zip(stand.number.tolist(), serials, kinds, settled, strict=True)
    return [
        Vantage(Subject(number, serial, types[kind], last), revision, as_of or last, limits[kind])
        for (number, serial, kind, last), revision in zip(
            rows, stand.revision.tolist(), strict=True
        )
    ]


def instant(microseconds: int) -> datetime:
    """The instant so long after 1970."""
    return EPOCH + timedelta(microseconds=microseconds)


def microseconds(when: datetime) -> int:
    """How long after 1970 an instant is."""
    return (when - EPOCH) // timedelta.resolution


def vantages(packs: Iterable[Pack], *, as_of: datetime | None = None) -> list[Vantage]:
    """The same of packs that were read already."""
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
