"""Trouble codes: what the control units of a car said on a visit."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

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
from packs.writes.judging import CLOCK_ERROR
from packs.writes.recording import Outcome, said
from packs.writes.visit_facts import record_on


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
        "code": code,
        "failure_type": failure_type,
        "control_unit": entry.get("control_unit") or "",
        "status": entry.get("status") or "",
        "freeze_frame": entry.get("freeze_frame"),
        "cleared_at": entry.get("cleared_at"),
    }
    shown = f"{code}-{failure_type}" if failure_type else code
    unit = f" from {content['control_unit']}" if content["control_unit"] else ""
    return record_on(
        visit,
        TroubleCode,
        by=by,
        at=at,
        happened_at=visit.opened_at,
        content=content,
        said=said(TroubleCode, entry),
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
