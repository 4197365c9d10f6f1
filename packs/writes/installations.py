"""Installations: when a pack sat in which car; the database refuses two at the same time."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from packs.errors import Contradiction, Fault
from packs.models import Installation, Pack, Vehicle
from packs.reads import names, sites
from packs.writes.actors import Actor
from packs.writes.judging import time_faults
from packs.writes.recording import Outcome, record, said


def record_installation(
    *, by: Actor, at: datetime, entry: Mapping[str, Any]
) -> Outcome[Installation]:
    """Store an installation; `entry` holds its fields by their names in the API.

    A removal is told by the whole installation again, with `removed_at`, in place of the old.
    """
    pack, vehicle = names.pack(entry["pack"]), names.vehicle(entry["vehicle"])
    faults = _faults(pack, entry, at=at)
    if faults:
        raise Contradiction(faults)
    return record(
        Installation,
        by=by,
        at=at,
        pack_id=pack.pk,
        happened_at=entry["installed_at"],
        content={
            "vehicle": vehicle,
            "installed_at": entry["installed_at"],
            "installed_km": entry.get("installed_km"),
            "removed_at": entry.get("removed_at"),
            "removed_km": entry.get("removed_km"),
        },
        said=said(Installation, entry),
        summary=_told(vehicle, entry),
        then=_note_contact,
    )


def _faults(pack: Pack, entry: Mapping[str, Any], *, at: datetime) -> list[Fault]:
    zone = sites.zone()
    installed_at, removed_at = entry["installed_at"], entry.get("removed_at")
    faults = time_faults(pack, installed_at, "/installed_at", at=at, zone=zone)
    if removed_at is not None and removed_at <= installed_at:
        sentence = "removed_at is not after installed_at; correct one of them."
        faults.append(Fault("/removed_at", "ends_before_it_begins", sentence))
    elif removed_at is not None:
        faults += time_faults(pack, removed_at, "/removed_at", at=at, zone=zone)
    return faults + _distance_faults(entry)


def _distance_faults(entry: Mapping[str, Any]) -> list[Fault]:
    installed_km, removed_km = entry.get("installed_km"), entry.get("removed_km")
    if removed_km is None:
        return []
    if entry.get("removed_at") is None:
        sentence = "removed_km is given without removed_at; say when the pack was taken out."
        return [Fault("/removed_km", "not_removed", sentence)]
    if installed_km is not None and removed_km < installed_km:
        sentence = (
            f"removed_km is {removed_km}, less than installed_km, {installed_km}; correct one."
        )
        return [Fault("/removed_km", "odometer_runs_back", sentence)]
    return []


def _told(vehicle: Vehicle, entry: Mapping[str, Any]) -> str:
    installed_km, removed_at = entry.get("installed_km"), entry.get("removed_at")
    told = f"Put into {vehicle.vin}" + ("" if installed_km is None else f" at {installed_km} km")
    if removed_at is None:
        return told
    removed_km = entry.get("removed_km")
    end = f", taken out {sites.day(removed_at).isoformat()}"
    return told + end + ("" if removed_km is None else f" at {removed_km} km")


def _note_contact(installation: Installation, pack: Pack) -> None:
    """Whoever took the pack out had it in hands."""
    removed_at = installation.removed_at
    if removed_at is None or (pack.last_contact is not None and removed_at <= pack.last_contact):
        return
    pack.last_contact = min(removed_at, pack.settled_at)
    pack.save(update_fields=["last_contact"])
