"""Trouble codes: what the control units of a car said on a visit."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from packs.errors import Contradiction, Fault
from packs.models import TroubleCode, Visit
from packs.reads import names
from packs.rules.trouble_codes import (
    code_problem,
    failure_type_problem,
    normalise_code,
    split_code,
)
from packs.writes.actors import Actor
from packs.writes.digests import digest
from packs.writes.judging import CLOCK_ERROR
from packs.writes.recording import Outcome, Said, insert, known_before, record, said, take_out


def record_trouble_code(
    *, by: Actor, at: datetime, entry: Mapping[str, Any]
) -> Outcome[TroubleCode]:
    """Store a code read on a visit; `entry` holds its fields by their names in the API."""
    visit = names.visit(entry["visit"])
    assert visit is not None
    code, failure_type = _parts(entry)
    faults = _cleared_faults(visit, entry.get("cleared_at"), at=at)
    if faults:
        raise Contradiction(faults)
    content = {
        "visit": visit,
        "code": code,
        "failure_type": failure_type,
        "control_unit": entry.get("control_unit") or "",
        "status": entry.get("status") or "",
        "freeze_frame": entry.get("freeze_frame"),
        "cleared_at": entry.get("cleared_at"),
    }
    beside = said(TroubleCode, entry)
    if visit.pack_id is None:
        return _record_alone(content, beside, by=by, at=at)
    shown = f"{code}-{failure_type}" if failure_type else code
    unit = f" from {content['control_unit']}" if content["control_unit"] else ""
    return record(
        TroubleCode,
        by=by,
        at=at,
        pack_id=visit.pack_id,
        happened_at=visit.opened_at,
        content=content,
        said=beside,
        summary=f"Trouble code {shown}{unit}",
    )


def _parts(entry: Mapping[str, Any]) -> tuple[str, str]:
    """The code and its failure type, said behind it or beside it."""
    code = normalise_code(entry["code"])
    base, behind = split_code(code)
    beside = normalise_code(entry.get("failure_type") or "")
    faults = []
    problem = code_problem(code)
    if problem is not None:
        faults.append(Fault("/code", "not_a_trouble_code", problem))
    problem = failure_type_problem(beside) if beside else None
    if problem is not None:
        faults.append(Fault("/failure_type", "not_a_failure_type", problem))
    elif beside and behind and beside != behind:
        sentence = f"failure_type is {beside}, but {code} ends in {behind}; leave one of them out."
        faults.append(Fault("/failure_type", "failure_types_disagree", sentence))
    if faults:
        raise Contradiction(faults)
    return base, beside or behind or ""


def _cleared_faults(visit: Visit, cleared_at: datetime | None, *, at: datetime) -> list[Fault]:
    if cleared_at is None:
        return []
    if cleared_at > at + CLOCK_ERROR:
        sentence = "cleared_at is more than five minutes ahead of the clock here; correct it."
        return [Fault("/cleared_at", "in_the_future", sentence)]
    if cleared_at < visit.opened_at:
        sentence = (
            f"cleared_at is before the visit was opened ({visit.opened_at.isoformat()}); "
            "correct it, or name the visit on which the code was read."
        )
        return [Fault("/cleared_at", "before_the_visit", sentence)]
    return []


def _record_alone(
    content: Mapping[str, Any], beside: Said, *, by: Actor, at: datetime
) -> Outcome[TroubleCode]:
    """Store a code of a car whose pack nobody knows yet: no revision to raise, no history."""
    old = beside.supersedes
    assert old is None or isinstance(old, TroubleCode)
    content_digest = digest({**content, "done_by": beside.done_by, "supersedes": old})
    with transaction.atomic():
        stored = known_before(
            TroubleCode, by=by, external_id=beside.external_id, content_digest=content_digest
        )
        if stored is not None:
            return Outcome(stored, created=False)
        if old is not None:
            TroubleCode.objects.select_for_update().get(pk=old.pk)
            take_out(old, pack=None, by=by, at=at, reason="superseded")
        fact = TroubleCode(
            **content,
            recorded_at=at,
            client=by.client,
            recorded_by=by.person,
            done_by=beside.done_by,
            external_id=beside.external_id,
            supersedes=old,
            digest=content_digest,
        )
        insert(fact)
    return Outcome(fact, created=True)
