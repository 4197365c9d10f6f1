"""Recording what goes back into a pack, and what is measured before it is joined."""

from collections.abc import Callable, Iterable, Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from packs.errors import Contradiction, Fault
from packs.models import Equipment, Part, Reassembly, Visit
from packs.reads import names, openings
from packs.reads.openings import Opening
from packs.rules.builds import begun_by_step
from packs.writes import builds, equal_charge, fitting, gates
from packs.writes.actors import Actor
from packs.writes.lock_outs import must_be_locked_out
from packs.writes.openings import (
    must_fit,
    part_faults,
    photos_of,
    seen_rows,
    told_fasteners,
    told_parts,
)
from packs.writes.recording import Outcome, lock, said
from packs.writes.visit_facts import faults_of_time, instant, record_on

FITTED, POLARITY = Reassembly.Kinds.FITTED, Reassembly.Kinds.POLARITY
EQUALISED, HALF = Reassembly.Kinds.EQUALISED, Reassembly.Kinds.HALF

OF_KIND: Mapping[str, tuple[str, ...]] = {
    FITTED: ("part", "places", "slot", "fasteners", "seen"),
    POLARITY: ("readings", "meter"),
    EQUALISED: ("readings", "meter"),
    HALF: ("half", "half_v", "current_a", "meter"),
}
NEEDED: Mapping[str, tuple[str, ...]] = {
    FITTED: ("part",),
    POLARITY: ("readings",),
    EQUALISED: (),
    HALF: ("half", "half_v"),
}


def record_reassembly(*, by: Actor, at: datetime, entry: Mapping[str, Any]) -> Outcome[Reassembly]:
    """Store a step; `entry` holds its fields by their names in the API.

    Raises Conflict without a standing lock-out, or where what is said can not have been.
    """
    visit = gates.visit_with_pack(entry["visit"])
    assert visit.pack_id is not None
    happened_at = instant(Reassembly, entry, by=by, at=at)
    _refuse_shape(entry)
    told = said(Reassembly, entry)
    with transaction.atomic():
        lock(visit.pack_id)
        before = gates.sent_before(Reassembly, entry, by=by)
        meter = names.equipment(entry.get("meter"), "/meter")
        if before is None:
            lock_out = must_be_locked_out(visit, happened_at)
            warned = _judge(visit, entry, meter, happened_at, at=at)
        else:
            lock_out, warned = before.lock_out, before.warnings
        return record_on(
            visit,
            Reassembly,
            by=by,
            at=at,
            happened_at=happened_at,
            content={
                "lock_out": lock_out,
                "happened_at": happened_at,
                "meter": meter,
                "warnings": warned,
                **_content(visit, entry),
            },
            said=told,
            summary=_SUMMARY[entry["kind"]](entry),
            then=lambda step: _settle(step, told.supersedes, by=by),
        )


def _settle(step: Reassembly, old: Any, *, by: Actor) -> None:
    """What a stored step has to agree with, and what follows from it."""
    must_fit(step)
    assert step.pack is not None
    works = [step, *([old] if isinstance(old, Reassembly) else [])]
    builds.settle(step.pack, works, by=by, at=step.recorded_at)


def _refuse_shape(entry: Mapping[str, Any]) -> None:
    """Each kind of step has its own fields, and needs some of them."""
    kind = entry["kind"]
    own = {name for names_ in OF_KIND.values() for name in names_} - set(OF_KIND[kind])
    faults = [
        Fault(f"/{name}", "not_of_this_kind", f"A step '{kind}' has no {name}; leave it out.")
        for name in sorted(own)
        if entry.get(name) not in (None, [], "")
    ]
    faults += [
        Fault(f"/{name}", "needed", f"A step '{kind}' says {name}; fill it in.")
        for name in NEEDED[kind]
        if entry.get(name) in (None, [], "")
    ]
    if faults:
        raise Contradiction(faults)


def _judge(
    visit: Visit,
    entry: Mapping[str, Any],
    meter: Equipment | None,
    happened_at: datetime,
    *,
    at: datetime,
) -> list[str]:
    """Raise what stands against the step; answers what is kept and told."""
    assert visit.pack is not None
    kind, opening = visit.pack.pack_type, openings.state(visit)
    recorded: list[Fault] = []
    told = faults_of_time(visit, happened_at, "/at", at=at)
    tools = fitting.tools_of(entry, meter)
    recorded += fitting.bad_faults(tools, happened_at, visit)
    told += fitting.kind_faults(tools)
    if entry["kind"] == FITTED:
        told += part_faults(kind, entry)
        recorded += fitting.lying_faults(kind.layout, opening, entry)
        recorded += _switch_faults(opening, entry)
    else:
        told += fitting.measured_faults(kind, entry)
        told += equal_charge.uncovered_faults(opening, entry)
    gates.refuse(recorded, told)
    return [
        *fitting.read_warnings(entry),
        *fitting.warnings(kind.layout, entry, tools, happened_at, visit),
        *fitting.left_warnings(visit, opening, entry),
        *equal_charge.warnings(opening, entry),
    ]


def _switch_faults(opening: Opening, entry: Mapping[str, Any]) -> Iterable[Fault]:
    """The switch joins the halves: both are proved first."""
    if entry["part"] != Part.SERVICE_SWITCH:
        return ()
    wants = [half.said for half in opening.halves if not half.agrees]
    return [Fault("/part", "half_not_proved", sentence) for sentence in wants]


def _content(visit: Visit, entry: Mapping[str, Any]) -> dict[str, Any]:
    assert visit.pack is not None
    kind, part = str(entry["kind"]), str(entry.get("part") or "")
    return {
        "kind": kind,
        "starts_build": begun_by_step(kind, part, visit.pack.pack_type.chemistry),
        "part": part,
        "places": list(entry.get("places") or ()),
        "slot": entry.get("slot") or "",
        "fasteners": [fitting.fastener_row(row) for row in entry.get("fasteners") or ()],
        "seen": seen_rows(entry),
        "readings": [
            {"position": row["position"], "rest_v": row["rest_v"]}
            for row in entry.get("readings") or ()
        ],
        "half": entry.get("half"),
        "half_v": entry.get("half_v"),
        "current_a": entry.get("current_a"),
        "photos": photos_of(visit.pack, entry),
        "note": entry.get("note") or "",
    }


def _said_fitted(entry: Mapping[str, Any]) -> str:
    return f"Put back: {told_parts(entry)}{told_fasteners(entry)}"


def _said_readings(entry: Mapping[str, Any]) -> str:
    rows = [f"{row['position']}: {row['rest_v']:.2f} V" for row in entry.get("readings") or ()]
    return ", ".join(rows)


def _said_polarity(entry: Mapping[str, Any]) -> str:
    return f"Polarity before joining: {_said_readings(entry)}"


def _said_equalised(entry: Mapping[str, Any]) -> str:
    told = _said_readings(entry)
    return f"Brought to equal charge{': ' if told else ''}{told}"


def _said_half(entry: Mapping[str, Any]) -> str:
    current = entry.get("current_a")
    under = f" at {current:g} A" if current else ""
    return f"Half {entry['half']} alone: {entry['half_v']:.2f} V{under}"


_SUMMARY: Mapping[str, Callable[[Mapping[str, Any]], str]] = {
    FITTED: _said_fitted,
    POLARITY: _said_polarity,
    EQUALISED: _said_equalised,
    HALF: _said_half,
}
