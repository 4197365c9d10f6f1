"""Recording how long the stages of a job took, by start and stop."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from packs.errors import Conflict, Contradiction, Fault
from packs.models import Person, Visit, WorkTime
from packs.reads import names, work_times
from packs.writes.actors import Actor
from packs.writes.gates import sent_before
from packs.writes.recording import Outcome, lock, said
from packs.writes.visit_facts import faults_of_time, record_on


def record_work_time(*, by: Actor, at: datetime, entry: Mapping[str, Any]) -> Outcome[WorkTime]:
    """Store a time; without an end the clock runs, and a record that supersedes it stops it.

    `entry` holds its fields by their names in the API; without a start it begins now.
    """
    visit = names.visit(entry["visit"])
    doer = names.person(entry["done_by"])
    assert visit is not None
    assert doer is not None
    before = sent_before(WorkTime, entry, by=by)
    started_at = entry.get("started_at") or (at if before is None else before.started_at)
    ended_at = entry.get("ended_at")
    old = names.fact(WorkTime, entry.get("supersedes"))
    faults = _time_faults(visit, started_at, ended_at, at=at)
    if faults:
        raise Contradiction(faults)
    with transaction.atomic():
        if visit.pack_id is not None:
            lock(visit.pack_id)
        if before is None and ended_at is None:
            _refuse_second_clock(doer, old)
        return record_on(
            visit,
            WorkTime,
            by=by,
            at=at,
            happened_at=started_at,
            content={
                "stage": str(entry["stage"]),
                "started_at": started_at,
                "ended_at": ended_at,
                "note": entry.get("note") or "",
            },
            said=said(WorkTime, entry),
            summary=_summary(str(entry["stage"]), started_at, ended_at),
            in_hand=False,
        )


def stop(
    row: WorkTime, *, by: Actor, at: datetime, ended_at: datetime, external_id: str
) -> Outcome[WorkTime]:
    """Stop a clock that runs: the same time again, with its end."""
    assert row.done_by is not None
    entry = {
        "visit": work_times.visit_key(row),
        "done_by": row.done_by.code,
        "stage": row.stage,
        "started_at": row.started_at,
        "ended_at": ended_at,
        "note": row.note,
        "supersedes": work_times.key(row),
        "external_id": external_id,
    }
    return record_work_time(by=by, at=at, entry=entry)


def _time_faults(
    visit: Visit, started_at: datetime, ended_at: datetime | None, *, at: datetime
) -> list[Fault]:
    faults = faults_of_time(visit, started_at, "/started_at", at=at)
    if ended_at is None:
        return faults
    faults += faults_of_time(visit, ended_at, "/ended_at", at=at)
    if ended_at < started_at:
        sentence = (
            f"It ends at {ended_at.isoformat()}, before it begins ({started_at.isoformat()}); "
            "correct one of them."
        )
        faults.append(Fault("/ended_at", "ends_before_it_begins", sentence))
    return faults


def _refuse_second_clock(doer: Person, old: WorkTime | None) -> None:
    running = next((row for row in work_times.running(doer) if row != old), None)
    if running is None:
        return
    raise Conflict.at(
        "/done_by",
        "clock_runs",
        f"The clock of '{doer.code}' runs since {running.started_at.isoformat()} "
        f"({running.get_stage_display().lower()}); stop it first.",
    )


def _summary(stage: str, started_at: datetime, ended_at: datetime | None) -> str:
    what = stage.replace("_", " ")
    if ended_at is None:
        return f"Work begun: {what}"
    return f"Work time: {what}, {(ended_at - started_at).total_seconds() / 60:.0f} min"
