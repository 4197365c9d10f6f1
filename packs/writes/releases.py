"""Releasing a pack from the bench: what it rests on, the promise that begins, the re-check."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction

from packs.errors import Conflict, Contradiction, DomainError, Fault
from packs.models import (
    Fact,
    HistoryEntry,
    IsolationCheck,
    Pack,
    ReEnergising,
    Release,
    Role,
    Visit,
    VoltageCheck,
    Warranty,
)
from packs.reads import jobs, names, proofs, sites
from packs.reads.jobs import Job
from packs.rules.identity import encode
from packs.rules.jobs import OVER_LIMIT
from packs.writes.actors import Actor
from packs.writes.judging import CLOCK_ERROR
from packs.writes.recording import Outcome, lock, note, said, take_out
from packs.writes.visit_facts import faults_of_time, instant, record_on
from packs.writes.visits import change_visit
from packs.writes.warranties import record_warranty
from packs.writes.warranties import settle as settle_warranties

RECHECK_DAYS = 30
"""Days after which a new build is checked again, or it has one point and no trend. Common
practice, no source."""

RECHECK_KM = 1_000
"""The same by distance, km. Common practice, no source."""

TERMS = ("repair_kind", "months", "km", "covers", "excludes", "labour")


def record_release(*, by: Actor, at: datetime, entry: Mapping[str, Any]) -> Outcome[Release]:
    """Release the pack of a visit; `entry` holds its fields by their names in the API.

    Begins the warranty where one is said, books the re-check, and sets the visit ready. Raises
    Conflict with each thing that is missing or stands in the way.
    """
    visit = names.visit(entry["visit"])
    assert visit is not None
    happened_at = instant(Release, entry, by=by, at=at)
    with transaction.atomic():
        if visit.pack_id is not None:
            lock(visit.pack_id)
        if _sent_before(entry, by=by):
            rests = _as_before(entry, by=by)
        else:
            rests = _rests_on(visit, entry, happened_at, by=by, at=at)
        outcome = _stored(visit, entry, rests, happened_at, by=by, at=at)
        if outcome.created:
            _set_ready(visit, by=by, at=at)
    return outcome


def _sent_before(entry: Mapping[str, Any], *, by: Actor) -> bool:
    name = entry.get("external_id")
    rows = Release.objects.filter(client=by.client, external_id=name)
    return name is not None and rows.exists()


def _as_before(entry: Mapping[str, Any], *, by: Actor) -> dict[str, Any]:
    """What the release that was sent under this name rests on: sent again, it is the same."""
    before = Release.objects.get(client=by.client, external_id=entry["external_id"])
    return {name: getattr(before, name) for name in RESTS_ON}


RESTS_ON = (
    "re_energising", "isolation_check", "rest_check", "load_check", "warranty", "recheck_on",
    "recheck_km",
)  # fmt: skip


def _rests_on(
    visit: Visit, entry: Mapping[str, Any], happened_at: datetime, *, by: Actor, at: datetime
) -> dict[str, Any]:
    """The records that the release names or finds; raises what stands in its way."""
    faults = faults_of_time(visit, happened_at, "/at", at=at) + _road_faults(entry)
    if faults:
        raise Contradiction(faults)
    job = refuse_unready(visit, entry, by=by)
    rest = jobs.last_check(visit, VoltageCheck.Condition.REST)
    load = jobs.last_check(visit, VoltageCheck.Condition.LOAD)
    assert rest is not None
    assert load is not None
    opened = job.progress.ever_locked_out
    odometer = entry.get("odometer_km") or load.odometer_km or rest.odometer_km
    re_energising = jobs.last(ReEnergising, visit) if opened else None
    isolation = jobs.last(IsolationCheck, visit) if opened else None
    steps: dict[str, datetime | None] = {
        "the re-energising": None if re_energising is None else re_energising.happened_at,
        "the isolation check": None if isolation is None else isolation.happened_at,
        "the check at rest": rest.taken_at,
        "the check under load": load.taken_at,
        "the last swap": max((one.done_at for one in proofs.changes(visit)), default=None),
    }
    room = CLOCK_ERROR if entry.get("at") is None else timedelta(0)
    _refuse_early(happened_at + room, steps)
    return {
        "re_energising": re_energising,
        "isolation_check": isolation,
        "rest_check": rest,
        "load_check": load,
        "warranty": _promised(visit, entry, happened_at, odometer, by=by, at=at),
        "recheck_on": sites.day(happened_at) + timedelta(days=RECHECK_DAYS),
        "recheck_km": None if odometer is None else odometer + RECHECK_KM,
    }


def _refuse_early(happened_at: datetime, steps: Mapping[str, datetime | None]) -> None:
    """A release comes after what it rests on."""
    later = {what: when for what, when in steps.items() if when and when > happened_at}
    if later:
        told = ", ".join(f"{what} ({when.isoformat()})" for what, when in later.items())
        raise Contradiction.at(
            "/at", "before_what_it_rests_on", f"A release comes after {told}; correct the time."
        )


def _road_faults(entry: Mapping[str, Any]) -> list[Fault]:
    if entry["road_test"]["distance_km"] > 0:
        return []
    sentence = "A road test has a distance; drive it with a logged load, and say how far."
    return [Fault("/road_test/distance_km", "not_driven", sentence)]


def refuse_unready(visit: Visit, entry: Mapping[str, Any], *, by: Actor) -> Job:
    """Raise Conflict with everything that a release of this visit still wants; answers its job."""
    job = jobs.of(visit)
    if job.progress.released:
        raise Conflict.at(
            "/visit",
            "released_already",
            "This visit is released already; void that release first, with a reason.",
        )
    faults = [Fault("/visit", code, sentence) for code, sentence in _wants(job, entry, by=by)]
    if not entry["codes_clear"]:
        faults.append(
            Fault("/codes_clear", "codes_not_clear", "Clear the codes, and see that none returns.")
        )
    if faults:
        raise Conflict(faults)
    return job


def _wants(job: Job, entry: Mapping[str, Any], *, by: Actor) -> Iterator[tuple[str, str]]:
    """What the job wants; a spread over the limit not, where a manager says why it leaves so."""
    over, reason = job.progress.over_limit, entry.get("over_limit_reason")
    if reason and not over:
        raise Contradiction.at(
            "/over_limit_reason",
            "not_over_limit",
            "No spread is above the type's limit; leave over_limit_reason out.",
        )
    may = bool(reason) and Role.MANAGER in by.roles
    for code, sentence in job.wants:
        if code != OVER_LIMIT:
            yield code, sentence
        elif not may:
            yield code, f"{sentence} A manager may release it with over_limit_reason."


def _promised(
    visit: Visit,
    entry: Mapping[str, Any],
    happened_at: datetime,
    odometer: int | None,
    *,
    by: Actor,
    at: datetime,
) -> Warranty | None:
    """The warranty that begins with the release, in the shop's terms unless the office says."""
    told = entry.get("warranty")
    if told is None:
        return None
    assert visit.pack is not None
    terms = {**_shop_terms(told["repair_kind"]), **{k: v for k, v in told.items() if v is not None}}
    if not by.roles & {Role.DESK, Role.MANAGER} and set(told) - {"repair_kind"}:
        raise Contradiction.at(
            "/warranty",
            "terms_of_the_office",
            "The bench begins a warranty in the shop's own terms; name the repair_kind alone.",
        )
    warranty = {
        **{name: terms[name] for name in TERMS if name in terms},
        "pack": visit.pack.serial,
        "visit": encode(Visit.PREFIX, visit.pk),
        "starts_on": sites.day(happened_at),
        "starts_km": odometer,
    }
    try:
        return record_warranty(by=by, at=at, entry=warranty).row
    except DomainError as error:
        raise error.below("/warranty") from error


def _shop_terms(repair_kind: str) -> Mapping[str, Any]:
    """What the shop promises for a kind of repair unless something else is said."""
    said: Mapping[str, Mapping[str, Any]] = sites.present().rules.get("warranties", {})
    return said.get(repair_kind, {})


def _stored(
    visit: Visit,
    entry: Mapping[str, Any],
    rests: Mapping[str, Any],
    happened_at: datetime,
    *,
    by: Actor,
    at: datetime,
) -> Outcome[Release]:
    return record_on(
        visit,
        Release,
        by=by,
        at=at,
        happened_at=happened_at,
        content={
            **rests,
            "happened_at": happened_at,
            "note": "\n".join(one for one in (entry.get("note"), _over_limit(entry)) if one),
            "codes_clear": entry["codes_clear"],
            "road_test": entry.get("road_test") or {},
            "odometer_km": entry.get("odometer_km"),
        },
        said=said(Release, entry),
        summary=f"{_over_limit(entry) or 'Released'}; to be checked again about "
        f"{rests['recheck_on'].isoformat()}",
    )


def _over_limit(entry: Mapping[str, Any]) -> str:
    """Why it leaves with a spread over the limit, as it is kept in the note and the history."""
    reason = entry.get("over_limit_reason")
    return f"Released over the limit: {reason}" if reason else ""


def settle(pack: Pack, facts: Sequence[Fact], *, by: Actor, at: datetime) -> None:
    """A release that no longer counts takes its promise with it, and the pack is worked on again.

    Raises Conflict where claims stand under the warranty.
    """
    for fact in facts:
        assert isinstance(fact, Release)
        if fact.warranty is not None and fact.warranty.voided_at is None:
            _end_promise(pack, fact.warranty, by=by, at=at, reason=fact.void_reason)
        visit = Visit.objects.get(pk=fact.visit_id)
        if visit.state == Visit.State.READY:
            back = {"state": Visit.State.OPEN.value, "waits_for": Visit.WaitsFor.BENCH.value}
            change_visit(visit, by=by, at=at, version=visit.version, changes=back)


def _end_promise(pack: Pack, row: Warranty, *, by: Actor, at: datetime, reason: str) -> None:
    recorded_at = note(
        pack,
        by=by,
        at=at,
        fact=row,
        kind=Warranty.KIND,
        action=HistoryEntry.Action.VOIDED,
        summary=f"Warranty voided with its release: {reason}",
    )
    take_out(row, pack=pack, by=by, at=recorded_at, reason=reason)
    settle_warranties(pack, [row], by=by, at=recorded_at)


def _set_ready(visit: Visit, *, by: Actor, at: datetime) -> None:
    """The car can be collected."""
    row = Visit.objects.get(pk=visit.pk)
    if row.state == Visit.State.CLOSED:
        return
    ready = {"state": Visit.State.READY.value, "waits_for": Visit.WaitsFor.COLLECTION.value}
    change_visit(row, by=by, at=at, version=row.version, changes=ready)
