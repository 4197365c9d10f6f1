"""Parts follow the swaps: in one place at a time, in a slot of their kind, fitted or in stock."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from datetime import datetime
from itertools import combinations

from packs.errors import Conflict, Fault
from packs.models import Component, Pack, SwapChange
from packs.reads import component_places as reads
from packs.reads.component_places import Sitting
from packs.writes.actors import Actor
from packs.writes.keeping import change

BARRED = {Component.Status.SCRAPPED, Component.Status.QUARANTINED}
Pointers = Mapping[int, str]


def settle(
    pack: Pack, touched: Sequence[SwapChange], pointers: Pointers, *, by: Actor, at: datetime
) -> None:
    """Bring the states of recorded parts in line with the swaps just recorded or voided.

    `pointers` say where in the request each change stands. Raises Conflict where a recorded part
    would be in two places, in a slot of another kind, or is barred.
    """
    places = {(pack.pk, row.slot) for row in touched if row.slot}
    if not places:
        return
    named = {tag for row in touched for tag in (row.removed_part, row.fitted_part) if tag}
    named |= {sitting.tag for sitting in reads.at_places(places)}
    _settle(locked(named), pointers, by=by, at=at)


def settle_one(component: Component, *, by: Actor, at: datetime) -> None:
    """The same of a part that was just recorded, and may be named by swaps before."""
    _settle(locked([component.tag]), {}, by=by, at=at)


def locked(tags: Collection[str]) -> Mapping[str, Component]:
    """The recorded parts of these tags, held in one order until the transaction ends.

    The weaker lock lets a test name a part while a swap holds it.
    """
    held = Component.objects.select_for_update(no_key=True)
    return {row.tag: row for row in held.filter(tag__in=tags).order_by("pk")}


def _settle(
    components: Mapping[str, Component], pointers: Pointers, *, by: Actor, at: datetime
) -> None:
    if not components:
        return
    sittings = reads.around(components.keys())
    sat = reads.by_tag(sittings, components.keys())
    faults = [
        fault
        for tag, component in components.items()
        for fault in _faults(component, sat[tag], pointers)
    ]
    faults += [
        _contradiction(sitting, pointers)
        for sitting in sittings
        if sitting.other is not None and {sitting.tag, sitting.other} & components.keys()
    ]
    if faults:
        raise Conflict(faults)
    for tag, component in components.items():
        sits = any(sitting.removed_at is None for sitting in sat[tag])
        status = _status(component, sits=sits)
        if status != component.status:
            version, changes = component.version, {"status": status}
            change(component, by=by, at=at, version=version, key=tag, changes=changes)


def _status(component: Component, *, sits: bool) -> str:
    if sits:
        return Component.Status.FITTED
    if component.status == Component.Status.FITTED:
        return Component.Status.STOCK
    return component.status


def _faults(component: Component, sat: Sequence[Sitting], pointers: Pointers) -> Iterator[Fault]:
    """What cannot have been of one part, the first thing wrong first."""
    for sitting in sat:
        yield from _of_sitting(component, sitting, pointers)
    for one, two in combinations(sat, 2):
        if one.meets(two):
            newer = two if _pointer(two, pointers) else one
            older = one if newer is two else two
            yield Fault(
                _pointer(newer, pointers),
                "component_elsewhere",
                f"Part {component.tag} sits in {_slot(older)} of pack {older.serial} "
                f"{_span(older)}; record its removal there first, or correct the tag or the time.",
            )


def _of_sitting(component: Component, sitting: Sitting, pointers: Pointers) -> Iterator[Fault]:
    if sitting.kind != component.kind:
        yield Fault(
            _pointer(sitting, pointers),
            "wrong_kind",
            f"Part {component.tag} is a {_words(component.kind)}, but {_slot(sitting)} takes a "
            f"{_words(sitting.kind)}; correct the tag or the slot.",
        )
    if sitting.removed_at is None and component.status in BARRED:
        yield Fault(
            _pointer(sitting, pointers),
            f"component_{component.status}",
            f"Part {component.tag} is {component.status} and cannot sit in a pack; change its "
            "status first, or choose another.",
        )


def _contradiction(sitting: Sitting, pointers: Pointers) -> Fault:
    """Another part is said to have come out than sat there."""
    said = pointers.get(sitting.ended_by or 0)
    return Fault(
        _pointer(sitting, pointers) if said is None else f"{said}/removed",
        "another_part_there",
        f"The register says that {sitting.tag} sat in {_slot(sitting)}, but {sitting.other} is "
        "said to have been taken out; correct the tag, or void the swap that is wrong.",
    )


def _pointer(sitting: Sitting, pointers: Pointers) -> str:
    """Where the request names the part of this stay; empty where it does not."""
    begun, ended = pointers.get(sitting.begun_by or 0), pointers.get(sitting.ended_by or 0)
    if begun is not None:
        return f"{begun}/fitted"
    return "" if ended is None else f"{ended}/removed"


def _slot(sitting: Sitting) -> str:
    return f"slot {sitting.slot}"


def _words(kind: str) -> str:
    return kind.replace("_", " ")


def _span(sitting: Sitting) -> str:
    begun = sitting.fitted_at
    told = "from the beginning" if begun is None else f"from {begun.isoformat()}"
    if sitting.removed_at is None:
        return told
    return f"{told} until {sitting.removed_at.isoformat()}"
