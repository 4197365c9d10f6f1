"""Points of view: a pack, the revision that it is known at, the instant up to which facts count."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Max, Q, QuerySet

from packs.models import HistoryEntry, Pack, PackType, PackTypeVersion, VoltageCheck
from packs.reads.types import Limits, limits_of
from reports.reads.among import Among

DAY_S = 86_400.0


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


def packs_of(numbers: Sequence[int]) -> QuerySet[Pack]:
    """These packs, with as much of each as an outlook needs."""
    return Pack.objects.filter(Among("pk", numbers)).only(*OF_A_PACK).order_by("pk")


OF_A_PACK = ("serial", "pack_type", "revision", "settled_at", "estimate_due_at")


def vantages(packs: Iterable[Pack], *, as_of: datetime | None = None) -> list[Vantage]:
    """Packs at their present revision; told up to `as_of`, or to their last record."""
    rows = list(packs)
    _share_types(rows)
    limits = ratings({pack.pack_type_id for pack in rows}, known_at=as_of)
    return [
        Vantage(pack, pack.revision, as_of or pack.settled_at, limits[pack.pack_type_id])
        for pack in rows
    ]


def _share_types(packs: Sequence[Pack]) -> None:
    """Give packs their types, each read once however many packs are of it."""
    wanted = {pack.pack_type_id for pack in packs if not Pack.pack_type.is_cached(pack)}
    types = PackType.objects.in_bulk(wanted) if wanted else {}
    for pack in packs:
        if pack.pack_type_id in types:
            Pack.pack_type.field.set_cached_value(pack, types[pack.pack_type_id])


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
