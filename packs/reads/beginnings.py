"""When packs' builds began: with swaps and with steps of a reassembly, wherever it is asked."""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Exists, OuterRef, Q, QuerySet

from packs.models import Pack, PackType, Reassembly, Swap
from packs.rules.builds import touched

STARTING = Q(starts_build=True, voided_at__isnull=True)


@dataclass(frozen=True)
class Rejoining:
    """A step of a reassembly that begins a build: the module positions it touched; none for all."""

    happened_at: datetime
    recorded_at: datetime
    positions: tuple[int, ...]


def swaps() -> QuerySet[Swap]:
    return Swap.objects.filter(STARTING)


def steps() -> QuerySet[Reassembly]:
    return Reassembly.objects.filter(STARTING)


def of_packs(packs: Collection[int]) -> Mapping[int | None, Sequence[datetime]]:
    """By pack, when each of its builds but the first began, the oldest first."""
    found: dict[int | None, list[datetime]] = defaultdict(list)
    swapped = swaps().filter(pack__in=packs).order_by().values_list("pack_id", "done_at")
    joined = steps().filter(pack__in=packs).order_by().values_list("pack_id", "happened_at")
    for pack, begun_at in sorted(swapped.union(joined, all=True)):
        found[pack].append(begun_at)
    return found


def newest(pack: Pack) -> datetime | None:
    """When the present build began; None where it is the pack's first."""
    return max(of_packs([pack.pk]).get(pack.pk, ()), default=None)


def visits_of(packs: Collection[Pack]) -> Mapping[int, int]:
    """By pack, the visit on which its present build began, where it began on one."""
    held = {"pack__in": packs, "visit__isnull": False}
    swapped = swaps().filter(**held).order_by().values_list("pack_id", "done_at", "visit_id")
    joined = steps().filter(**held).order_by().values_list("pack_id", "happened_at", "visit_id")
    since = {row.pk: row.since for row in packs}
    return {
        pack: visit
        for pack, begun_at, visit in swapped.union(joined, all=True)
        if pack is not None and visit is not None and since[pack] == begun_at
    }


def rebuilt() -> Q:
    """Packs whose present build began with work on them, and not when they were made."""
    of_pack = {"pack": OuterRef("pk")}
    return Q(Exists(swaps().filter(**of_pack, done_at=OuterRef("since")))) | Q(
        Exists(steps().filter(**of_pack, happened_at=OuterRef("since")))
    )


def repairs(pack_type: PackType) -> int:
    """How many repairs of packs of a type began a build; the work of one visit is one."""
    swapped = swaps().filter(pack__pack_type=pack_type).order_by()
    joined = steps().filter(pack__pack_type=pack_type).order_by()
    visits = swapped.filter(visit__isnull=False).values_list("visit_id")
    alone = swapped.filter(visit__isnull=True).count()
    return alone + visits.union(joined.values_list("visit_id")).count()


def rejoinings(pack: Pack) -> tuple[Rejoining, ...]:
    """Those of one pack that stand, with what they touched."""
    rows = steps().filter(pack=pack).order_by("pk")
    count = pack.pack_type.module_count
    return tuple(
        Rejoining(happened_at, recorded_at, touched(part, places, count))
        for happened_at, recorded_at, part, places in rows.values_list(
            "happened_at", "recorded_at", "part", "places"
        )
    )
