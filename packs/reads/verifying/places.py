"""One place at a time, for modules, positions, packs and owners, for the past too."""

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from itertools import groupby, pairwise
from operator import attrgetter, itemgetter
from typing import Any

from packs.models import Installation, Module, Ownership, Pack, Placement, SwapChange
from packs.reads.verifying.breaches import Breach
from packs.rules.seating import Change, Stay, stays

BEGINNING = datetime.min.replace(tzinfo=UTC)
CHUNK = 2000


def positions_whole(packs: Sequence[Pack]) -> Iterator[Breach]:
    """Every position of the type is covered from the beginning to now, without gap or overlap."""
    rows = Placement.objects.filter(pack__in=packs).order_by("pack_id", "position")
    by_pack = {key: list(group) for key, group in groupby(rows, attrgetter("pack_id"))}
    for pack in packs:
        mine = by_pack.get(pack.pk, [])
        covered = {row.position for row in mine}
        expected = set(range(1, pack.pack_type.module_count + 1))
        if covered != expected:
            odd = sorted(covered ^ expected)
            yield Breach("positions are those of the type", f"pack {pack.serial}", f"not {odd}")
        for position, group in groupby(mine, attrgetter("position")):
            if not _whole(list(group)):
                subject = f"pack {pack.serial}, position {position}"
                yield Breach(
                    "a position holds one module at every instant", subject, "gap, overlap"
                )


def _whole(rows: list[Placement]) -> bool:
    rows.sort(key=lambda row: row.fitted_at or BEGINNING)
    joined = all(one.removed_at == two.fitted_at for one, two in pairwise(rows))
    return rows[0].fitted_at is None and rows[-1].removed_at is None and joined


def placements_follow_swaps(packs: Sequence[Pack]) -> Iterator[Breach]:
    """The placements say what the swaps that stand say."""
    said = SwapChange.objects.filter(
        swap__pack__in=packs, swap__voided_at__isnull=True, position__isnull=False
    ).select_related("swap")
    changes: dict[tuple[int, int], list[Change]] = {}
    for row in said:
        place = (row.swap.pack_id or 0, row.position or 0)
        changes.setdefault(place, []).append(
            Change(row.pk, row.swap.done_at, row.removed_id, row.fitted_id, row.orientation)
        )
    rows = Placement.objects.filter(pack__in=packs).order_by("pack_id", "position")
    serials = {pack.pk: pack.serial for pack in packs}
    for (pack_id, position), group in groupby(rows, attrgetter("pack_id", "position")):
        expected = sorted(map(_of_stay, stays(changes.get((pack_id, position), []))), key=_begin)
        if sorted(map(_of_row, group), key=_begin) != expected:
            subject = f"pack {serials[pack_id]}, position {position}"
            yield Breach("placements follow from the swaps", subject, "they disagree")


def _of_stay(stay: Stay) -> tuple[Any, ...]:
    begun, ended = stay.begun_by, stay.ended_by
    return (
        None if begun is None else begun.at,
        None if ended is None else ended.at,
        stay.module,
        None if begun is None else begun.id,
    )


def _of_row(row: Placement) -> tuple[Any, ...]:
    return row.fitted_at, row.removed_at, row.module_id, row.fitted_by_id


def _begin(told: tuple[Any, ...]) -> datetime:
    begun: datetime = told[0] or BEGINNING
    return begun


def one_place_at_a_time() -> Iterator[Breach]:
    """No module in two places, no pack in two cars, no car with two owners at one instant."""
    modules = Placement.objects.filter(module__isnull=False)
    yield from _overlaps(
        "a module is in one place at a time",
        modules.values_list("module__tag", "fitted_at", "removed_at"),
    )
    yield from _overlaps(
        "a pack is in one car at a time",
        Installation.objects.filter(voided_at__isnull=True).values_list(
            "pack__serial", "installed_at", "removed_at"
        ),
    )
    yield from _overlaps(
        "a car has one owner at a time",
        Ownership.objects.values_list("vehicle__vin", "from_at", "until_at"),
    )


def _overlaps(rule: str, rows: Any) -> Iterator[Breach]:
    """Intervals of one key that overlap; rows of (key, begin ∅, end ∅), read key by key."""
    key, begin, _ = rows.query.values_select
    ordered = rows.order_by(key, begin).iterator(chunk_size=CHUNK)
    for name, group in groupby(ordered, itemgetter(0)):
        spans = sorted((row[1] or BEGINNING, row[2]) for row in _ends(group))
        if any(end > following for (_, end), (following, _) in pairwise(spans)):
            yield Breach(rule, str(name), "two intervals overlap")


FAR = datetime.max.replace(tzinfo=UTC)


def _ends(rows: Any) -> Iterator[tuple[Any, datetime | None, datetime]]:
    for name, begin, end in rows:
        yield name, begin, end or FAR


def modules_are_where_they_say() -> Iterator[Breach]:
    """Fitted is what sits in a pack now, and nothing else is."""
    sitting = Placement.objects.filter(module__isnull=False, removed_at__isnull=True)
    fitted = Module.objects.filter(status=Module.Status.FITTED)
    for module in fitted.exclude(pk__in=sitting.values("module")).iterator():
        yield Breach("a fitted module sits in a pack", f"module {module.tag}", "it sits nowhere")
    astray = Module.objects.filter(pk__in=sitting.values("module"))
    for module in astray.exclude(status=Module.Status.FITTED).iterator():
        yield Breach("a module in a pack is fitted", f"module {module.tag}", module.status)
