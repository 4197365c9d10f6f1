"""Releasing a pack from the bench: what it rests on, the promise that begins, the re-check."""

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction

from packs.errors import Conflict, Contradiction, DomainError, Fault
from packs.models import (
    IsolationCheck,
    ReEnergising,
    Release,
    Role,
    Visit,
    VoltageCheck,
    Warranty,
)
from packs.reads import jobs, names, sites
from packs.rules.identity import encode
from packs.writes.actors import Actor
from packs.writes.recording import Outcome, lock, said
from packs.writes.visit_facts import faults_of_time, instant, record_on
from packs.writes.visits import change_visit
from packs.writes.warranties import record_warranty

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
    faults = faults_of_time(visit, happened_at, "/at", at=at)
    if faults:
        raise Contradiction(faults)
    refuse_unready(visit, entry)
    job = jobs.of(visit)
    rest = jobs.last_check(visit, VoltageCheck.Condition.REST)
    load = jobs.last_check(visit, VoltageCheck.Condition.LOAD)
    assert rest is not None
    assert load is not None
    opened = job.progress.ever_locked_out
    odometer = entry.get("odometer_km") or load.odometer_km or rest.odometer_km
    return {
        "re_energising": jobs.last(ReEnergising, visit) if opened else None,
        "isolation_check": jobs.last(IsolationCheck, visit) if opened else None,
        "rest_check": rest,
        "load_check": load,
        "warranty": _promised(visit, entry, happened_at, odometer, by=by, at=at),
        "recheck_on": sites.day(happened_at) + timedelta(days=RECHECK_DAYS),
        "recheck_km": None if odometer is None else odometer + RECHECK_KM,
    }


def refuse_unready(visit: Visit, entry: Mapping[str, Any]) -> None:
    """Raise Conflict with everything that a release of this visit still wants."""
    job = jobs.of(visit)
    if job.progress.released:
        raise Conflict.at(
            "/visit",
            "released_already",
            "This visit is released already; void that release first, with a reason.",
        )
    faults = [Fault("/visit", code, sentence) for code, sentence in job.wants]
    if not entry["codes_clear"]:
        faults.append(
            Fault("/codes_clear", "codes_not_clear", "Clear the codes, and see that none returns.")
        )
    if faults:
        raise Conflict(faults)


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
            "note": entry.get("note") or "",
            "codes_clear": entry["codes_clear"],
            "road_test": entry.get("road_test") or {},
            "odometer_km": entry.get("odometer_km"),
        },
        said=said(Release, entry),
        summary=f"Released; to be checked again about {rests['recheck_on'].isoformat()}",
    )


def _set_ready(visit: Visit, *, by: Actor, at: datetime) -> None:
    """The car can be collected."""
    row = Visit.objects.get(pk=visit.pk)
    if row.state == Visit.State.CLOSED:
        return
    ready = {"state": Visit.State.READY.value, "waits_for": Visit.WaitsFor.COLLECTION.value}
    change_visit(row, by=by, at=at, version=row.version, changes=ready)
