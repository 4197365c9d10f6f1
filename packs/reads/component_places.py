"""Where parts other than modules sat: read from the swaps, which are all that tells of it.

A swap may name a part that nobody recorded; it has a place all the same, by its tag.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from django.db.models import Q

from packs.models import Component, Pack, SwapChange
from packs.rules.seating import Change, Stay, stays

Place = tuple[int, str]  # a pack's number and one of its slots
BEGINNING = datetime.min.replace(tzinfo=UTC)
END = datetime.max.replace(tzinfo=UTC)


@dataclass(frozen=True)
class Sitting:
    """The time that a part spent in a slot; None where nothing began it, or has ended it yet.

    `other` is the tag that was said to come out, where it is another than went in; `begun_by` and
    `ended_by` are the numbers of the changes.
    """

    tag: str
    pack_id: int
    serial: str
    slot: str
    fitted_at: datetime | None
    removed_at: datetime | None
    begun_by: int | None
    ended_by: int | None
    other: str | None

    @property
    def kind(self) -> str:
        return kind_of(self.slot)

    @property
    def place(self) -> Place:
        return self.pack_id, self.slot

    def meets(self, another: "Sitting") -> bool:
        """Whether both would be at one instant."""
        return _before(self.fitted_at, another.removed_at) and _before(
            another.fitted_at, self.removed_at
        )


def _before(begun: datetime | None, ended: datetime | None) -> bool:
    return (begun or BEGINNING) < (ended or END)


def kind_of(slot: str) -> str:
    """The kind of part that a slot takes: what stands before its number."""
    return slot.partition(":")[0]


def of(tags: Collection[str]) -> Mapping[str, list[Sitting]]:
    """Where each of these tags sat, by tag, in order of time."""
    return by_tag(around(tags), tags)


def around(tags: Collection[str]) -> list[Sitting]:
    """Every named part that sat in a slot of which a swap names one of these tags."""
    named = SwapChange.objects.filter(Q(removed_part__in=tags) | Q(fitted_part__in=tags))
    places = named.filter(swap__voided_at__isnull=True).values_list("swap__pack_id", "slot")
    return at_places(set(places))


def by_tag(sittings: Iterable[Sitting], tags: Collection[str]) -> dict[str, list[Sitting]]:
    found: dict[str, list[Sitting]] = {tag: [] for tag in tags}
    for sitting in sittings:
        if sitting.tag in found:
            found[sitting.tag].append(sitting)
    return found


def at_places(places: Collection[Place]) -> list[Sitting]:
    """Every named part that sat in these slots, in order of time."""
    packs, slots = {pack for pack, _ in places}, {slot for _, slot in places}
    if not places:
        return []
    rows = SwapChange.objects.filter(
        swap__pack_id__in=packs, slot__in=slots, swap__voided_at__isnull=True
    )
    by_place: dict[Place, list[SwapChange]] = defaultdict(list)
    for row in rows.exclude(slot="").select_related("swap__pack"):
        place = (row.swap.pack_id or 0, row.slot)
        if place in places:
            by_place[place].append(row)
    found = [sitting for changes in by_place.values() for sitting in _sittings(changes)]
    return sorted(found, key=lambda sitting: sitting.fitted_at or BEGINNING)


def _sittings(rows: Sequence[SwapChange]) -> Iterable[Sitting]:
    """The stays of named parts in one slot."""
    pack = rows[0].swap.pack
    assert pack is not None
    tags = sorted({tag for row in rows for tag in (row.removed_part, row.fitted_part) if tag})
    numbers = {tag: number for number, tag in enumerate(tags)}
    changes = [
        Change(
            row.pk,
            row.swap.done_at,
            numbers.get(row.removed_part),
            numbers.get(row.fitted_part),
            row.orientation,
        )
        for row in rows
    ]
    for stay in stays(changes):
        if stay.module is not None:
            yield _sitting(stay, tags, pack, rows[0].slot)


def _sitting(stay: Stay, tags: Sequence[str], pack: Pack, slot: str) -> Sitting:
    assert stay.module is not None
    begun, ended = stay.begun_by, stay.ended_by
    said = stay.said_at_last
    return Sitting(
        tag=tags[stay.module],
        pack_id=pack.pk,
        serial=pack.serial,
        slot=slot,
        fitted_at=None if begun is None else begun.at,
        removed_at=None if ended is None else ended.at,
        begun_by=None if begun is None else begun.id,
        ended_by=None if ended is None else ended.id,
        other=tags[said] if stay.contradicted and said is not None else None,
    )


def in_pack(pack: Pack) -> Mapping[str, Sitting]:
    """The named parts that sit in a pack now, by slot."""
    changed = SwapChange.objects.filter(swap__pack=pack, swap__voided_at__isnull=True)
    slots = set(changed.exclude(slot="").values_list("slot", flat=True))
    now = at_places({(pack.pk, slot) for slot in slots})
    return {sitting.slot: sitting for sitting in now if sitting.removed_at is None}


def seat_at(component: Component, when: datetime) -> Sitting | None:
    """Where a part sat at that instant."""
    for sitting in of([component.tag])[component.tag]:
        if (sitting.fitted_at or BEGINNING) <= when < (sitting.removed_at or END):
            return sitting
    return None
