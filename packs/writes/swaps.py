"""Recording swaps: modules or other parts changed in one go."""

import re
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any

from packs.errors import Contradiction, Fault
from packs.models import Module, Pack, PackType, Placement, Swap, SwapChange
from packs.reads import names, sites
from packs.rules import ways_round
from packs.rules.builds import begun_by_slots
from packs.writes import gates
from packs.writes.actors import Actor
from packs.writes.judging import time_faults
from packs.writes.placements import settle
from packs.writes.recording import Outcome, Said, record, said

PARTS = (
    "main_contactor", "precharge_contactor", "precharge_resistor", "current_sensor",
    "service_switch", "fuse", "temperature_sensor", "bus_bar", "sense_harness", "cooling_fan",
)  # fmt: skip
NORMAL = Placement.Orientation.NORMAL.value
SLOT = re.compile(rf"({'|'.join(PARTS)})(:[A-Za-z0-9][A-Za-z0-9._-]{{0,19}})?")

Entry = Mapping[str, Any]


def record_swap(*, by: Actor, at: datetime, entry: Entry) -> Outcome[Swap]:
    """Store a swap and what follows from it: placements, module states, the start of the build.

    `entry` holds its fields by their names in the API. Raises Conflict where it contradicts what
    the register says sat where.
    """
    pack = names.pack(entry["pack"])
    faults = time_faults(pack, entry["done_at"], "/done_at", at=at, zone=sites.zone())
    faults += _place_faults(entry, pack.pack_type)
    before = gates.sent_before(Swap, entry, by=by)
    if before is None:
        faults += _turned_faults(entry, pack.pack_type)
    if faults:
        raise Contradiction(faults)
    changes = _columns(entry, pack.pack_type, _lie(pack.pack_type, before))
    told = said(Swap, entry, beside={"changes": changes})
    content = {
        "done_at": entry["done_at"],
        "visit": names.visit_of(pack, entry.get("visit")),
        "kind": entry["kind"],
        "starts_build": _starts_build(entry),
    }

    def hang(swap: Swap, locked: Pack) -> None:
        SwapChange.objects.bulk_create(SwapChange(swap=swap, **columns) for columns in changes)
        settle(locked, [swap, *_superseded(told)], by=by, at=swap.recorded_at)

    return record(
        Swap,
        by=by,
        at=at,
        pack_id=pack.pk,
        happened_at=entry["done_at"],
        content=content,
        said=told,
        summary=_summary(entry),
        then=hang,
    )


def _superseded(told: Said) -> Iterator[Swap]:
    if isinstance(told.supersedes, Swap):
        yield told.supersedes


def _starts_build(entry: Entry) -> bool:
    return entry["kind"] == Swap.Kinds.MODULE or begun_by_slots(
        change["slot"] for change in entry["changes"]
    )


def _place_faults(entry: Entry, pack_type: PackType) -> list[Fault]:
    """What is wrong with the positions or slots."""
    of_modules = entry["kind"] == Swap.Kinds.MODULE
    wanted = "position" if of_modules else "slot"
    faults, seen = [], set()
    for index, change in enumerate(entry["changes"]):
        place = change.get(wanted)
        told = _beside(change, wanted) or (
            _position_fault(place, pack_type) if of_modules else slot_fault(place)
        )
        if told is None and place in seen:
            told = "named_twice", f"{wanted} {place} stands twice; a swap changes a place once."
        if told is not None:
            faults.append(Fault(f"/changes/{index}/{wanted}", *told))
        seen.add(place)
    return faults


def _beside(change: Mapping[str, Any], wanted: str) -> tuple[str, str] | None:
    other = "slot" if wanted == "position" else "position"
    if change.get(other) is None:
        return None
    return (
        f"not_a_{wanted}",
        "A swap of kind module names positions, one of kind component names slots; "
        f"leave {other} out, or send two swaps.",
    )


def _position_fault(position: int | None, pack_type: PackType) -> tuple[str, str] | None:
    if position is not None and 1 <= position <= pack_type.module_count:
        return None
    return (
        "no_such_position",
        f"A pack of type {pack_type.code} has positions 1 to {pack_type.module_count}; "
        "name one of them.",
    )


def slot_fault(slot: str | None) -> tuple[str, str] | None:
    """Code and sentence for what is no name of a slot; None for one that is."""
    if slot is not None and SLOT.fullmatch(slot):
        return None
    return (
        "no_such_slot",
        f"A slot is one of {', '.join(PARTS)}, with its number after a colon where there are "
        "several, such as bus_bar:5.",
    )


def _turned_faults(entry: Entry, pack_type: PackType) -> list[Fault]:
    """Modules said to lie otherwise than the type says of their position."""
    asked = ways_round.listed(pack_type.layout)
    return [
        Fault(
            f"/changes/{index}/orientation",
            "not_as_the_type",
            f"Type {pack_type.code} says that position {place} lies '{asked[place]}'; turn the "
            "module, or leave orientation out. Where the type is wrong, correct the type first.",
        )
        for index, change in enumerate(entry["changes"])
        if (place := change.get("position")) in asked
        and change.get("orientation") not in (None, asked[place])
    ]


def _lie(pack_type: PackType, before: Swap | None) -> Mapping[int | None, str]:
    """The way round where nobody says it: the type's, or as stored of what is sent again."""
    if before is None:
        return dict(ways_round.listed(pack_type.layout).items())
    return dict(before.changes.values_list("position", "orientation"))


def _columns(
    entry: Entry, pack_type: PackType, lie: Mapping[int | None, str]
) -> list[dict[str, Any]]:
    """The columns of each change, its tags resolved; raises Contradiction for what does not fit."""
    if entry["kind"] == Swap.Kinds.COMPONENT:
        return [
            {
                "slot": change["slot"],
                "removed_part": change.get("removed") or "",
                "fitted_part": change.get("fitted") or "",
                "reason": change.get("reason", ""),
            }
            for change in entry["changes"]
        ]
    known = _modules(entry["changes"])
    return [
        {
            "position": change["position"],
            "removed_id": _number(known, change.get("removed"), f"/changes/{index}/removed"),
            "fitted_id": _number(known, change.get("fitted"), f"/changes/{index}/fitted"),
            "orientation": change.get("orientation") or lie.get(change["position"], NORMAL),
            "reason": change.get("reason", ""),
        }
        for index, change in enumerate(_fitting(entry["changes"], known, pack_type))
    ]


def _modules(changes: Sequence[Mapping[str, Any]]) -> Mapping[str, Module]:
    tags = {change.get(name) for change in changes for name in ("removed", "fitted")} - {None}
    return {module.tag: module for module in Module.objects.filter(tag__in=tags)}


def _number(known: Mapping[str, Module], tag: str | None, pointer: str) -> int | None:
    module = known.get(tag or "") or names.module(tag, pointer)
    return None if module is None else module.pk


def _fitting(
    changes: Sequence[Mapping[str, Any]], known: Mapping[str, Module], pack_type: PackType
) -> Sequence[Mapping[str, Any]]:
    """The changes, where every module named has the cells that the type's modules have."""
    faults = [
        Fault(
            f"/changes/{index}/{name}",
            "wrong_cells",
            f"Module {module.tag} has {module.cells} cells, but those of type {pack_type.code} "
            f"have {pack_type.cells_per_module}; correct the tag.",
        )
        for index, change in enumerate(changes)
        for name in ("removed", "fitted")
        if (module := known.get(change.get(name) or "")) is not None
        and module.cells != pack_type.cells_per_module
    ]
    if faults:
        raise Contradiction(faults)
    return changes


def _summary(entry: Entry) -> str:
    """A line for the history."""
    if entry["kind"] == Swap.Kinds.COMPONENT:
        slots = ", ".join(change["slot"] for change in entry["changes"])
        return f"Parts changed: {slots}".replace("_", " ")
    told = ", ".join(
        f"{change['position']} ({change.get('removed') or '?'} to {change.get('fitted') or '?'})"
        for change in sorted(entry["changes"], key=lambda change: int(change["position"]))
    )
    return f"Modules changed at {told}"
