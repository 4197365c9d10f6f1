"""Recording tests of parts: by the tag of the part, or by the slot of a pack."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from packs.errors import Contradiction, Fault
from packs.models import Component, Pack, PartTest, Visit
from packs.reads import component_places, names, sites
from packs.rules.part_verdicts import MEASURED, SIGNED, TRUTHS
from packs.writes.actors import Actor
from packs.writes.gates import measuring_faults
from packs.writes.judging import CLOCK_ERROR, time_faults
from packs.writes.recording import Outcome, record, said
from packs.writes.swaps import slot_fault
from packs.writes.visit_facts import instant, record_alone

Entry = Mapping[str, Any]


@dataclass(frozen=True)
class _Subject:
    """What was tested: a recorded part or a slot, of which pack, on which visit."""

    component: Component | None
    slot: str
    kind: str
    pack: Pack | None
    visit: Visit | None


def record_part_test(*, by: Actor, at: datetime, entry: Entry) -> Outcome[PartTest]:
    """Store a test of a part; `entry` holds its fields by their names in the API.

    A part that sits in a pack, or is tested on the visit of one, tells of that pack as well.
    """
    happened_at = instant(PartTest, entry, by=by, at=at)
    subject = _subject(entry, happened_at, by=by)
    equipment = names.equipment(entry.get("equipment"))
    faults = _time_faults(subject, happened_at, at=at) + _measured_faults(entry, subject.kind)
    faults += measuring_faults(equipment)
    if faults:
        raise Contradiction(faults)
    content = {
        "visit": subject.visit,
        "happened_at": happened_at,
        "component": subject.component,
        "slot": subject.slot,
        "kind": subject.kind,
        "measured": {name: value for name, value in entry["measured"].items() if value is not None},
        "equipment": equipment,
        "note": entry.get("note") or "",
    }
    told = said(PartTest, entry)
    if subject.pack is None:
        return record_alone(PartTest, content, told, by=by, at=at)
    return record(
        PartTest,
        by=by,
        at=at,
        pack_id=subject.pack.pk,
        happened_at=happened_at,
        content=content,
        said=told,
        summary=_summary(subject),
        in_hand=subject.component is None,
    )


def _subject(entry: Entry, when: datetime, *, by: Actor) -> _Subject:
    """Who and what is meant; Contradiction where it does not fit together."""
    component = names.component(entry.get("component"))
    slot, visit = entry.get("slot") or "", names.visit(entry.get("visit"))
    if component is None and not slot:
        sentence = "Say what was tested: the tag of the part, or the slot of the pack."
        raise Contradiction.at("/component", "nothing_named", sentence)
    pack = _pack_of(entry, component, visit, when, by=by)
    if component is None and pack is None:
        sentence = "A slot is of a pack: name the pack, or a visit of it."
        raise Contradiction.at("/pack", "pack_needed", sentence)
    if pack is not None and entry.get("visit") is not None:
        names.visit_of(pack, entry["visit"])
    kind = _kind(entry, component, slot)
    return _Subject(component, slot, kind, pack, visit)


def _pack_of(
    entry: Entry, component: Component | None, visit: Visit | None, when: datetime, *, by: Actor
) -> Pack | None:
    """The pack named, else that of the visit, else the one that the part sat in then.

    What is sent again is of the pack that it was of the first time, wherever the part went since.
    """
    if entry.get("pack") is not None:
        return names.pack(entry["pack"])
    if visit is not None and visit.pack_id is not None:
        return names.packs().get(pk=visit.pack_id)
    name = entry.get("external_id")
    sent = PartTest.objects.filter(client=by.client, external_id=name).first() if name else None
    if sent is not None:
        return None if sent.pack_id is None else names.packs().get(pk=sent.pack_id)
    sits = None if component is None else component_places.seat_at(component, when)
    return None if sits is None else names.packs().get(pk=sits.pack_id)


def _kind(entry: Entry, component: Component | None, slot: str) -> str:
    """The kind of part, which tag, slot and word must agree on."""
    if slot:
        problem = slot_fault(slot)
        if problem is not None:
            raise Contradiction.at("/slot", *problem)
    of_slot = component_places.kind_of(slot)
    named = str(entry["kind"]) if entry.get("kind") is not None else None
    kind = of_slot if component is None else component.kind
    for pointer, word in (("/kind", named), ("/slot", of_slot or None)):
        if word is not None and word != kind:
            sentence = f"{_what(component, slot)} is a {_words(kind)}, not a {_words(word)}; "
            raise Contradiction.at(pointer, "wrong_kind", sentence + "correct one of them.")
    return kind


def _what(component: Component | None, slot: str) -> str:
    return f"What sits in slot {slot}" if component is None else f"Part {component.tag}"


def _words(kind: str) -> str:
    return kind.replace("_", " ")


def _time_faults(subject: _Subject, when: datetime, *, at: datetime) -> list[Fault]:
    if subject.pack is not None:
        return time_faults(subject.pack, when, "/at", at=at, zone=sites.zone())
    if when <= at + CLOCK_ERROR:
        return []
    sentence = f"{when.isoformat()} is more than five minutes ahead of the clock here; correct it."
    return [Fault("/at", "in_the_future", sentence)]


def _measured_faults(entry: Entry, kind: str) -> list[Fault]:
    """What was measured that is none of this kind, or cannot be."""
    measured = {name: value for name, value in entry["measured"].items() if value is not None}
    if not measured:
        names_of = ", ".join(MEASURED[kind])
        sentence = f"Nothing was measured; of a {_words(kind)} it is one of: {names_of}."
        return [Fault("/measured", "nothing_measured", sentence)]
    faults = [
        Fault(
            f"/measured/{name}",
            "not_of_kind",
            f"Of a {_words(kind)} {name} is not measured; it is one of: "
            f"{', '.join(MEASURED[kind])}.",
        )
        for name in measured
        if name not in MEASURED[kind]
    ]
    return faults + [
        Fault(
            f"/measured/{name}",
            "out_of_range",
            f"{name} cannot be {value:g}; read it again.",
        )
        for name, value in measured.items()
        if name not in TRUTHS | SIGNED and value < 0
    ]


def _summary(subject: _Subject) -> str:
    tag = "" if subject.component is None else f" {subject.component.tag}"
    where = f" in {subject.slot}".replace("_", " ") if subject.slot else ""
    return f"Part tested: {_words(subject.kind)}{tag}{where}"
