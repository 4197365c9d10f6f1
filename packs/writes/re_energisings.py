"""Recording that a pack goes live again: it ends a lock-out."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from packs.errors import Conflict, Fault
from packs.models import Fact, LockOut, Pack, ReEnergising, Release, Visit
from packs.reads import isolation, lock_outs, names, openings
from packs.rules import lock_outs as rules
from packs.writes import gates
from packs.writes.actors import Actor
from packs.writes.recording import Outcome, lock, said
from packs.writes.visit_facts import faults_of_time, instant, record_on


def record_re_energising(
    *, by: Actor, at: datetime, entry: Mapping[str, Any]
) -> Outcome[ReEnergising]:
    """Store that the switch goes back in; `entry` holds its fields by their names in the API.

    Raises Conflict while anything is still out or unproved, with all that is.
    """
    visit = gates.visit_with_pack(entry["visit"])
    assert visit.pack_id is not None
    happened_at = instant(ReEnergising, entry, by=by, at=at)
    second = names.person(entry.get("second_person"), "/second_person")
    old = names.fact(ReEnergising, entry.get("supersedes"))
    with transaction.atomic():
        lock(visit.pack_id)
        before = gates.sent_before(ReEnergising, entry, by=by)
        lock_out = _lock_out(visit, before or old)
        if before is None:
            recorded = gates.elsewhere_faults(visit)
            recorded += _order_faults(lock_out, happened_at)
            recorded += _open_faults(visit) if old is None else []
            said_so = faults_of_time(visit, happened_at, "/at", at=at)
            doer = names.person(entry.get("done_by"))
            said_so += gates.second_person_faults(visit, doer, second)
            said_so += _confirmation_faults(entry)
            gates.refuse(recorded, said_so)
        told = _warnings(visit) if before is None else before.done.get("warnings")
        return record_on(
            visit,
            ReEnergising,
            by=by,
            at=at,
            happened_at=happened_at,
            content={
                "lock_out": lock_out,
                "happened_at": happened_at,
                "note": entry.get("note") or "",
                "done": {**entry.get("done", {}), **({"warnings": told} if told else {})},
                "second_person": second,
            },
            said=said(ReEnergising, entry),
            summary="Re-energised: tools counted, covers on, everybody clear",
        )


def must_bear_nothing(pack: Pack, facts: list[Fact], *, by: Actor, at: datetime) -> None:
    """Refuse to void a re-energising that a later lock-out or a release rests on."""
    for fact in facts:
        assert isinstance(fact, ReEnergising)
        later = LockOut.objects.filter(visit=fact.visit_id, voided_at__isnull=True)
        if later.filter(happened_at__gte=fact.happened_at).exists():
            raise Conflict.at(
                "",
                "locked_out_since",
                "The pack was locked out again since, and one lock-out stands at a time; void "
                "that one first, or correct this record by one that supersedes it.",
            )
        if Release.objects.filter(re_energising=fact, voided_at__isnull=True).exists():
            raise Conflict.at(
                "", "released_since", "A release rests on it; void the release first."
            )


def _warnings(visit: Visit) -> list[str]:
    """What is kept and told: it does not stop the work."""
    checks = isolation.of_visit(visit)
    if not checks or isolation.judged(checks[0]).passes:
        return []
    return [
        f"The last isolation check of this visit, of {checks[0].happened_at.isoformat()}, is below "
        "the limit: keep clear of case and car, find the leak, and measure again before it leaves."
    ]


def _lock_out(visit: Visit, known: ReEnergising | None) -> LockOut:
    """The lock-out that is ended: of a correction, or of what is sent again, the same one."""
    found = lock_outs.standing(visit) if known is None else known.lock_out
    if found is None:
        raise Conflict.at(
            "/visit",
            "no_lock_out",
            "No lock-out stands on this visit, so there is nothing to end.",
        )
    return found


def _order_faults(lock_out: LockOut, happened_at: datetime) -> list[Fault]:
    worked = lock_outs.worked_at(lock_out)
    last = lock_out.happened_at if worked is None else max(worked[1], lock_out.happened_at)
    if happened_at >= last:
        return []
    sentence = (
        f"{happened_at.isoformat()} is before the last work under the lock-out "
        f"({last.isoformat()}); correct the time."
    )
    return [Fault("/at", "before_the_work", sentence)]


def _confirmation_faults(entry: Mapping[str, Any]) -> list[Fault]:
    missing = rules.unconfirmed(entry, rules.CLEARED)
    return [Fault(one.pointer, one.code, one.sentence) for one in missing]


def _open_faults(visit: Visit) -> list[Fault]:
    """What of the pack is still out, and what is not proved since it was open."""
    opening = openings.state(visit)
    out = [Fault("/visit", "still_out", sentence) for sentence in opening.out_said]
    return out + [Fault("/visit", "not_ready", sentence) for sentence in opening.unready]
