"""Recording a lock-out: every gate before a pack may be opened."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db import transaction

from packs.errors import Conflict, Contradiction, Fault
from packs.models import Equipment, Fact, LockOut, Pack, Person, Visit
from packs.reads import lock_outs, names, sites, tools
from packs.rules import gloves, live
from packs.rules import lock_outs as rules
from packs.rules.arithmetic import Piece
from packs.rules.lock_outs import Breach, Measured
from packs.rules.qualifications import lapsed_on
from packs.writes import gates
from packs.writes.actors import Actor
from packs.writes.recording import Outcome, lock, said
from packs.writes.visit_facts import faults_of_time, instant, record_on

GLOVE_RULE = ("months_from_issue", "months_shelf")


@dataclass(frozen=True)
class _Hands:
    """Who and what a lock-out names."""

    doer: Person | None
    second: Person | None
    keeper: Person
    meter: Equipment
    gloves: Equipment


@dataclass(frozen=True)
class _Declared:
    """What was worked out when it was recorded, and stays so when it is sent again."""

    touch_limit_v: float
    piece: Piece
    warnings: tuple[str, ...]


def record_lock_out(*, by: Actor, at: datetime, entry: Mapping[str, Any]) -> Outcome[LockOut]:
    """Store a lock-out that passes every gate; `entry` holds its fields by their names in the API.

    Raises Conflict or Contradiction with all gates that are not passed.
    """
    visit = gates.visit_with_pack(entry["visit"])
    happened_at = instant(LockOut, entry, by=by, at=at)
    hands = _hands(entry)
    with transaction.atomic():
        lock(_pack(visit).pk)
        before = gates.sent_before(LockOut, entry, by=by)
        if before is None:
            _pass_gates(visit, entry, hands, happened_at, at=at)
        declared = _declare(visit, hands, happened_at) if before is None else _declared(before)
        return record_on(
            visit,
            LockOut,
            by=by,
            at=at,
            happened_at=happened_at,
            content=_content(entry, hands, declared, happened_at),
            said=said(LockOut, entry),
            summary=_summary(entry["readings"], declared),
        )


def must_be_locked_out(visit: Visit, happened_at: datetime) -> LockOut:
    """The lock-out under which the pack is worked on at that time; Conflict where none stands."""
    standing = lock_outs.standing(visit)
    if standing is None:
        raise Conflict.at(
            "/visit",
            "no_lock_out",
            "No lock-out stands on this visit: record one first, on the lock-out page of the job "
            "or at lock-outs/.",
        )
    if happened_at < standing.happened_at:
        raise Conflict.at(
            "/at",
            "before_the_lock_out",
            f"{happened_at.isoformat()} is before the lock-out was recorded as done "
            f"({standing.happened_at.isoformat()}); work on the pack comes after it. Correct the "
            "time.",
        )
    return standing


def must_bear_no_work(pack: Pack, facts: list[Fact], *, by: Actor, at: datetime) -> None:
    """Refuse to void a lock-out that work counts under: that work would stand without one."""
    for fact in facts:
        assert isinstance(fact, LockOut)
        if lock_outs.worked_at(fact) is not None:
            raise Conflict.at(
                "",
                "work_under_it",
                "Work is recorded under this lock-out; void that first, or correct the lock-out "
                "by a new record that supersedes it.",
            )


def _hands(entry: Mapping[str, Any]) -> _Hands:
    keeper = names.person(entry["switch_kept_by"], "/switch_kept_by")
    meter = names.equipment(entry["meter"], "/meter")
    worn = names.equipment(entry["gloves"], "/gloves")
    assert keeper is not None
    assert meter is not None
    assert worn is not None
    return _Hands(
        doer=names.person(entry.get("done_by")),
        second=names.person(entry.get("second_person"), "/second_person"),
        keeper=keeper,
        meter=meter,
        gloves=worn,
    )


def _pass_gates(
    visit: Visit, entry: Mapping[str, Any], hands: _Hands, happened_at: datetime, *, at: datetime
) -> None:
    faults = faults_of_time(visit, happened_at, "/at", at=at) + _early_faults(visit, happened_at)
    if faults:
        raise Contradiction(faults)
    on = sites.day(happened_at, gates.site_of(visit))
    recorded = [
        *_order_faults(visit, entry, happened_at),
        *_equipment_faults(visit, hands, on),
    ]
    told = [
        *gates.kind_faults(hands.meter, Equipment.Kinds.METER, "/meter"),
        *gates.kind_faults(hands.gloves, Equipment.Kinds.GLOVES, "/gloves"),
        *gates.second_person_faults(visit, hands.doer, hands.second),
        *_breach_faults(visit, entry),
    ]
    gates.refuse(recorded, told)


def _early_faults(visit: Visit, happened_at: datetime) -> list[Fault]:
    if happened_at >= visit.opened_at:
        return []
    sentence = (
        f"{happened_at.isoformat()} is before the visit was opened "
        f"({visit.opened_at.isoformat()}); correct the time, or name the visit that it belongs to."
    )
    return [Fault("/at", "before_the_visit", sentence)]


def _order_faults(visit: Visit, entry: Mapping[str, Any], happened_at: datetime) -> list[Fault]:
    """What is recorded of the visit and stands in the way of a lock-out at that time."""
    old = names.fact(LockOut, entry.get("supersedes"))
    standing, ended_at = lock_outs.standing(visit), lock_outs.ended_at(visit)
    faults = gates.elsewhere_faults(visit, old)
    if visit.state == Visit.State.CLOSED and old is None:
        sentence = "This visit is closed; open it again, or open a new one for the work."
        faults.append(Fault("/visit", "visit_closed", sentence))
    if standing is not None and standing != old:
        sentence = (
            f"A lock-out stands on this visit since {standing.happened_at.isoformat()}; work "
            "under that one, or record its re-energising first."
        )
        faults.append(Fault("/visit", "lock_out_stands", sentence))
    if ended_at is not None and happened_at < ended_at:
        sentence = (
            f"The pack was re-energised at {ended_at.isoformat()}; a new lock-out comes after "
            "that. Correct the time."
        )
        faults.append(Fault("/at", "before_re_energising", sentence))
    return faults if old is None else [*faults, *_correction_faults(old, standing, happened_at)]


def _correction_faults(
    old: LockOut, standing: LockOut | None, happened_at: datetime
) -> list[Fault]:
    if old.voided_at is None and old != standing:
        sentence = "That lock-out was ended by a re-energising; void the re-energising first."
        return [Fault("/supersedes", "lock_out_ended", sentence)]
    worked = lock_outs.worked_at(old)
    if worked is None or happened_at <= worked[0]:
        return []
    sentence = (
        f"Work under that lock-out began at {worked[0].isoformat()}; its correction is no later."
    )
    return [Fault("/at", "after_the_work", sentence)]


def _equipment_faults(visit: Visit, hands: _Hands, on: date) -> list[Fault]:
    """What is recorded of the meter and the gloves and speaks against them."""
    faults = gates.bad_faults(hands.meter, "/meter", on)
    faults += gates.overdue_faults(hands.meter, "/meter", on)
    faults += gates.bad_faults(hands.gloves, "/gloves", on)
    if hands.gloves.kind != Equipment.Kinds.GLOVES:
        return faults
    refusals = gloves.refusals(
        _pair(hands.gloves),
        highest_v=lock_outs.highest_v(_pack(visit).pack_type),
        worn_on=on,
        rule=_glove_rule(visit),
    )
    return faults + [Fault("/gloves", one.code, one.sentence) for one in refusals]


def _pair(row: Equipment) -> gloves.Gloves:
    return gloves.Gloves(
        code=row.code,
        rating=row.rating,
        tested_on=row.checked_on,
        issued_on=row.issued_on,
        due_on=row.due_on,
    )


def _glove_rule(visit: Visit) -> gloves.DateRule:
    """The site's rule; what it does not set, or not as a number of months, is as common."""
    told = gates.rules(visit).get("gloves")
    months = told if isinstance(told, dict) else {}
    kept = {name: months[name] for name in GLOVE_RULE if type(months.get(name)) is int}
    return gloves.DateRule(**{name: value for name, value in kept.items() if value >= 0})


def _breach_faults(visit: Visit, entry: Mapping[str, Any]) -> list[Fault]:
    layout = _pack(visit).pack_type.layout
    breaches: list[Breach] = [
        *rules.unconfirmed(entry, rules.CONFIRMED),
        *rules.breaches(
            _measured(entry),
            touch_limit_v=gates.site_of(visit).touch_limit_v,
            wait_min=layout.waits.discharge_min,
        ),
    ]
    return [Fault(one.pointer, one.code, one.sentence) for one in breaches]


def _measured(entry: Mapping[str, Any]) -> Measured:
    return Measured(
        source_v=entry["source_v"],
        source_before_v=entry["source_before_v"],
        source_after_v=entry["source_after_v"],
        readings=entry["readings"],
        waited_min=entry["waited_min"],
    )


def _declare(visit: Visit, hands: _Hands, happened_at: datetime) -> _Declared:
    site = gates.site_of(visit)
    return _Declared(
        touch_limit_v=site.touch_limit_v,
        piece=lock_outs.pieces_with_switch_out(visit).largest,
        warnings=tuple(_warnings(visit, hands, sites.day(happened_at, site))),
    )


def _declared(row: LockOut) -> _Declared:
    first, last = row.done["declared_live"]
    return _Declared(
        touch_limit_v=row.touch_limit_v,
        piece=Piece(first, last, row.highest_v),
        warnings=tuple(row.done["warnings"]),
    )


def _warnings(visit: Visit, hands: _Hands, on: date) -> list[str]:
    """What is kept and told: it does not stop the work."""
    layout = _pack(visit).pack_type.layout
    told = [*tools.warnings(hands.meter, on), *_lapsed(hands, on)]
    if hands.gloves.issued_on is None:
        told.append(
            f"No day of issue is recorded for gloves {hands.gloves.code}; by being worn they are "
            "issued: note the day."
        )
    if not layout.waits.discharge_min:
        told.append("The pack type names no waiting time; keep to what its maker asks for.")
    if layout.switch_after is None:
        told.append(
            "The pack type does not say where the service switch parts the string; the whole "
            "string counts as joined."
        )
    return told


def _lapsed(hands: _Hands, on: date) -> Iterator[str]:
    """Who works or stands by with nothing but expired qualifications: told, nobody is refused.

    Common practice, no source.
    """
    for person in (hands.doer, hands.second):
        ended = None if person is None else lapsed_on(person.qualifications, on)
        if person is not None and ended is not None:
            yield (
                f"All qualifications recorded of '{person.code}' have expired, the last on "
                f"{ended.isoformat()}; renew them, or note the new date."
            )


def _content(
    entry: Mapping[str, Any], hands: _Hands, declared: _Declared, happened_at: datetime
) -> dict[str, Any]:
    live_part = [declared.piece.first, declared.piece.last]
    kept = {"declared_live": live_part, "warnings": list(declared.warnings)}
    return {
        "happened_at": happened_at,
        "note": entry.get("note") or "",
        "done": {**entry.get("done", {}), **kept},
        "worn": dict(entry.get("worn", {})),
        "readings": {**entry["readings"], "source_v": entry["source_v"]},
        "waited_min": entry["waited_min"],
        "source_before_v": entry["source_before_v"],
        "source_after_v": entry["source_after_v"],
        "meter": hands.meter,
        "gloves": hands.gloves,
        "switch_kept_by": hands.keeper,
        "second_person": hands.second,
        "touch_limit_v": declared.touch_limit_v,
        "highest_v": declared.piece.highest_v,
    }


def _summary(readings: Mapping[str, float], declared: _Declared) -> str:
    highest = max(abs(readings[name]) for name in rules.READINGS)
    return f"Lock-out: car side at most {highest:.1f} V. {live.declared(declared.piece)}"


def _pack(visit: Visit) -> Pack:
    assert visit.pack is not None
    return visit.pack
