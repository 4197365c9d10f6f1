"""What the steps of a teardown and of a reassembly ask alike of what is said."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from packs.errors import Conflict, Contradiction, Fault
from packs.models import Pack, PackType, Part, Photo, Reassembly, Teardown
from packs.reads import names
from packs.reads.openings import clashes_of, is_own
from packs.rules.identity import encode

PLACED = frozenset({Part.MODULE, Part.BUS_BAR})
"""Parts of which each sits at a place of its own: without one nobody knows which is meant."""

CONTRADICTIONS = frozenset({"more_than_the_type_has"})
SEEN = ("orientation", "sense_lead", "clip", "sensor", "note")


def part_faults(kind: PackType, entry: Mapping[str, Any]) -> list[Fault]:
    """What is wrong with the part, its places, its slot and its kinds of fasteners."""
    return [
        *_place_faults(kind, entry),
        *_slot_faults(kind, entry),
        *_fastener_faults(kind, entry),
        *position_faults(kind, "/seen", entry.get("seen") or ()),
    ]


def position_faults(
    kind: PackType, pointer: str, rows: Sequence[Mapping[str, Any]]
) -> Iterator[Fault]:
    """Rows about positions name each once, and one that the type has."""
    seen: set[int] = set()
    for index, row in enumerate(rows):
        position = row["position"]
        if not 1 <= position <= kind.module_count:
            yield _no_place(f"{pointer}/{index}/position", kind, 1)
        elif position in seen:
            sentence = f"Position {position} is named twice; put both into one row."
            yield Fault(f"{pointer}/{index}/position", "named_twice", sentence)
        seen.add(position)


def _place_faults(kind: PackType, entry: Mapping[str, Any]) -> Iterator[Fault]:
    part, places = entry["part"], entry.get("places") or []
    first = 0 if part == Part.BUS_BAR else 1
    if part in PLACED and not places:
        what = "the module that each bus bar follows" if part == Part.BUS_BAR else "the positions"
        yield Fault("/places", "places_needed", f"Say which: name {what}.")
    for index, place in enumerate(places):
        if not first <= place <= kind.module_count:
            yield _no_place(f"/places/{index}", kind, first)
        elif place in places[:index]:
            sentence = f"{place} is named twice; leave one of them out."
            yield Fault(f"/places/{index}", "named_twice", sentence)


def _no_place(pointer: str, kind: PackType, first: int) -> Fault:
    asked = "A bus bar follows module" if first == 0 else "The positions are"
    sentence = (
        f"{asked} {first} to {kind.module_count} in a pack of type {kind.code}"
        f"{', 0 for the one at the positive end' if first == 0 else ''}; name one of them."
    )
    return Fault(pointer, "no_such_position", sentence)


def _slot_faults(kind: PackType, entry: Mapping[str, Any]) -> Iterator[Fault]:
    slot, known = entry.get("slot"), [row.slot for row in kind.layout.slots]
    if slot and entry.get("places"):
        yield Fault("/slot", "slot_and_places", "Name places or a slot, not both.")
    elif slot and known and slot not in known:
        sentence = f"A pack of type {kind.code} has no slot '{slot}'; it has {', '.join(known)}."
        yield Fault("/slot", "unknown_slot", sentence)


def _fastener_faults(kind: PackType, entry: Mapping[str, Any]) -> Iterator[Fault]:
    """Kinds of the type's list; where the type lists none, any kind is kept."""
    known = [fastener.kind for fastener in kind.layout.fasteners]
    named = [row["kind"] for row in entry.get("fasteners") or ()]
    for index, name in enumerate(named):
        if known and name not in known:
            sentence = (
                f"A pack of type {kind.code} has no '{name}'; it has {', '.join(known)}. Name one "
                "of them, or list it with the type."
            )
            yield Fault(f"/fasteners/{index}/kind", "unknown_fastener", sentence)
        elif name in named[:index]:
            sentence = f"'{name}' is named twice; put both counts into one row."
            yield Fault(f"/fasteners/{index}/kind", "named_twice", sentence)


def photos_of(pack: Pack, entry: Mapping[str, Any]) -> list[str]:
    """The photographs named, each of this pack, by their opaque ids."""
    found = [
        names.fact(Photo, key, f"/photos/{index}")
        for index, key in enumerate(entry.get("photos") or ())
    ]
    for index, photo in enumerate(found):
        if photo is not None and photo.pack_id != pack.pk:
            sentence = "That photograph is of another pack; name one of this pack."
            raise Contradiction.at(f"/photos/{index}", "other_pack", sentence)
    return [encode(Photo.PREFIX, photo.pk) for photo in found if photo is not None]


def seen_rows(entry: Mapping[str, Any]) -> list[dict[str, Any]]:
    """How positions lay, what nobody said left out."""
    return [
        {"position": row["position"], **{name: row[name] for name in SEEN if row.get(name)}}
        for row in sorted(entry.get("seen") or (), key=lambda row: int(row["position"]))
    ]


def must_fit(fact: Teardown | Reassembly) -> None:
    """Refuse a step that can not have been beside what else is recorded of the visit.

    It is asked of the stored row, under the lock of its pack: of two who say the same at once
    the second is refused, and what is refused is not kept.
    """
    faults = [
        Fault(clash.pointer, clash.code, clash.said)
        if is_own(clash, fact)
        else Fault("/at", clash.code, f"With a later step: {clash.said}")
        for clash in clashes_of(fact)
    ]
    if faults and all(fault.code in CONTRADICTIONS for fault in faults):
        raise Contradiction(faults)
    if faults:
        raise Conflict(faults)


def told_parts(entry: Mapping[str, Any]) -> str:
    """The part with its places or slot, for a line of the history."""
    part = str(entry["part"]).replace("_", " ")
    if entry.get("slot"):
        return f"{part} {entry['slot']}"
    places = [str(place) for place in entry.get("places") or ()]
    if not places:
        return part
    many = "s" if len(places) > 1 else ""
    after = " after module" if entry["part"] == Part.BUS_BAR else ""
    return f"{part}{many}{after} {', '.join(places)}"


def told_fasteners(entry: Mapping[str, Any]) -> str:
    rows = [f"{row['count']} × {row['kind']}" for row in entry.get("fasteners") or ()]
    return f"; {', '.join(rows)}" if rows else ""
