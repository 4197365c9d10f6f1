"""Visits: a pack or a car comes to the shop, and how the stay goes on."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from packs.errors import Conflict, Contradiction, Fault
from packs.models import HistoryEntry, Pack, Vehicle, Visit
from packs.reads import lock_outs, names, sites
from packs.reads.packs import in_vehicle
from packs.rules.stays import waiting
from packs.writes.actors import Actor
from packs.writes.judging import CLOCK_ERROR, time_faults
from packs.writes.keeping import change
from packs.writes.posting import post
from packs.writes.recording import Outcome, lock, note


def open_visit(*, by: Actor, at: datetime, entry: Mapping[str, Any]) -> Outcome[Visit]:
    """Store a visit; where only the car is named, the pack in it comes with it.

    `entry` holds its fields by their names in the API; without `opened_at` it opens at `at`.
    """
    vehicle, pack = _brought(entry)
    opened_at = entry.get("opened_at") or at
    if pack is None and vehicle is not None:
        pack = in_vehicle(vehicle, at=opened_at)
    faults = _time_faults(pack, opened_at, at=at)
    if faults:
        raise Contradiction(faults)
    content = {
        "vehicle": vehicle,
        "pack": pack if entry.get("pack") else None,
        "opened_at": entry.get("opened_at"),
        "complaint": entry.get("complaint") or "",
        "odometer_km": entry.get("odometer_km"),
        "state": entry.get("state") or Visit.State.OPEN.value,
        "waits_for": entry.get("waits_for"),
        "promised_at": entry.get("promised_at"),
        "site": names.site(entry.get("site")),
    }
    beside = {
        "waits_for": entry.get("waits_for") or "",
        "pack": pack,
        "opened_at": opened_at,
        "site": content["site"] or by.client.site,
    }
    with transaction.atomic():
        locked = None if pack is None else lock(pack.pk)
        outcome = post(
            Visit,
            by=by,
            at=at,
            external_id=entry.get("external_id"),
            content=content,
            beside=beside,
        )
        if outcome.created and locked is not None:
            _note_opening(outcome.row, locked, by=by, at=at)
    return outcome


def _brought(entry: Mapping[str, Any]) -> tuple[Vehicle | None, Pack | None]:
    """The car and the pack that are named; at least one is."""
    if entry.get("vehicle") is None and entry.get("pack") is None:
        raise Contradiction.at(
            "", "visit_of_nothing", "Say which vehicle or which pack is here, or both."
        )
    vehicle = None if entry.get("vehicle") is None else names.vehicle(entry["vehicle"])
    pack = None if entry.get("pack") is None else names.pack(entry["pack"])
    return vehicle, pack


def _time_faults(pack: Pack | None, opened_at: datetime, *, at: datetime) -> list[Fault]:
    if pack is not None:
        return time_faults(pack, opened_at, "/opened_at", at=at, zone=sites.zone())
    if opened_at <= at + CLOCK_ERROR:
        return []
    sentence = "opened_at is more than five minutes ahead of the clock here; correct the time."
    return [Fault("/opened_at", "in_the_future", sentence)]


def _note_opening(visit: Visit, pack: Pack, *, by: Actor, at: datetime) -> None:
    """Raise the pack's revision, with its line in the history."""
    complaint = f": {visit.complaint}" if visit.complaint else ""
    visit.recorded_at = note(
        pack,
        by=by,
        at=at,
        fact=visit,
        kind=Visit.KIND,
        action=HistoryEntry.Action.RECORDED,
        summary=f"Visit opened{complaint}",
        happened_at=visit.opened_at,
    )
    visit.revision = pack.revision
    visit.save(update_fields=["recorded_at", "revision"])


def change_visit(
    row: Visit, *, by: Actor, at: datetime, version: int, changes: Mapping[str, Any]
) -> Visit:
    """Store how the visit stands now, and note it in the history of its pack."""
    said = dict(changes)
    for name in {"complaint", "waits_for"} & said.keys():
        said[name] = said[name] or ""
    with transaction.atomic():
        pack = None if row.pack_id is None else lock(row.pack_id)
        before = row.state
        visit = change(row, by=by, at=at, version=version, key=str(row.pk), changes=said)
        if pack is not None:
            if "state" in said:
                _refuse_open_pack(visit)
            note(
                pack,
                by=by,
                at=at,
                fact=visit,
                kind=Visit.KIND,
                action=HistoryEntry.Action.CHANGED,
                summary=_told(before, visit, said),
            )
    return visit


def _refuse_open_pack(visit: Visit) -> None:
    """Nobody fetches a car whose pack is open on the bench."""
    if visit.state not in (Visit.State.READY, Visit.State.CLOSED):
        return
    lock_out = lock_outs.standing(visit)
    if lock_out is not None:
        raise Conflict.at(
            "/state",
            "lock_out_stands",
            f"A lock-out stands on this visit since {lock_out.happened_at.isoformat()}; record "
            "the re-energising first.",
        )


def _told(before: str, visit: Visit, said: Mapping[str, Any]) -> str:
    """What changed, in a line."""
    parts = [f"{before} → {visit.state}"] if visit.state != before else []
    if "odometer_km" in said and visit.odometer_km is not None:
        parts.append(f"{visit.odometer_km} km")
    if "complaint" in said:
        parts.append(visit.complaint or "no complaint")
    if "waits_for" in said and (visit.waits_for or visit.state == before):
        parts.append(waiting(visit.waits_for))
    if "promised_at" in said and visit.promised_at is not None:
        parts.append(f"promised for {visit.promised_at.astimezone(sites.zone()):%Y-%m-%d %H:%M}")
    return "Visit changed" + (f": {', '.join(parts)}" if parts else "")
