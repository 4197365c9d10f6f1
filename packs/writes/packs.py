"""Packs: recording one with its positions, and changing what state it is in."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import IntegrityError, transaction

from packs.errors import Contradiction
from packs.models import HistoryEntry, Pack, Placement
from packs.reads import names, sites
from packs.reads.packs import with_vehicle
from packs.rules.vehicles import alike_key
from packs.writes.actors import Actor
from packs.writes.keeping import change, keep
from packs.writes.recording import Outcome, enter, lock, midnight, note


def create_pack(*, by: Actor, at: datetime, entry: Mapping[str, Any]) -> Outcome[Pack]:
    """Store a pack, its first line of history and a nameless module at each position."""
    pack_type = names.pack_type(entry["pack_type"])
    today = sites.day(at)
    if entry.get("built_on") is not None and entry["built_on"] > today:
        raise Contradiction.at(
            "/built_on",
            "in_the_future",
            f"built_on is {entry['built_on'].isoformat()}, but today is {today.isoformat()}; "
            "correct the date, or leave it out.",
        )
    content = {
        "pack_type": pack_type,
        "status": entry.get("status") or Pack.Status.IN_SERVICE.value,
        "built_on": entry.get("built_on"),
    }
    try:
        outcome = _keep(entry["serial"], content, by=by, at=at)
    except IntegrityError:
        # The same serial in another case was stored meanwhile; now its spelling is known.
        outcome = _keep(entry["serial"], content, by=by, at=at)
    return Outcome(with_vehicle().get(pk=outcome.row.pk), outcome.created)


def _keep(serial: str, content: Mapping[str, Any], *, by: Actor, at: datetime) -> Outcome[Pack]:
    stored = names.packs().filter(serial__upper=serial.upper()).first()
    key = {"serial": serial if stored is None else stored.serial}
    built_on = content["built_on"]
    beside = {
        "serial_alike": alike_key(serial),
        "settled_at": at,
        "estimate_due_at": at,
        "since": None if built_on is None else midnight(built_on),
    }
    with transaction.atomic():
        outcome = keep(Pack, by=by, at=at, key=key, content=content, beside=beside)
        if outcome.created:
            _begin(outcome.row, by=by, at=at)
    return outcome


def _begin(pack: Pack, *, by: Actor, at: datetime) -> None:
    """What a pack has from its first revision on."""
    Placement.objects.bulk_create(
        Placement(pack=pack, position=position)
        for position in range(1, pack.pack_type.module_count + 1)
    )
    enter(
        pack,
        by=by,
        recorded_at=at,
        happened_at=at,
        fact=pack,
        kind=Pack.KIND,
        summary=f"Pack {pack.serial} recorded, type {pack.pack_type.code}",
    )


def change_pack(
    row: Pack, *, by: Actor, at: datetime, version: int, changes: Mapping[str, Any]
) -> Pack:
    """Store another status, with its line in the history."""
    with transaction.atomic():
        pack = lock(row.pk)
        before = pack.status
        change(pack, by=by, at=at, version=version, key=pack.serial, changes=changes)
        # Said of the pack at a desk, not seen on it: no contact that an estimate may count.
        note(
            pack,
            by=by,
            at=at,
            fact=pack,
            kind=Pack.KIND,
            action=HistoryEntry.Action.CHANGED,
            summary=f"Status {before} → {pack.status}".replace("_", " "),
        )
    return with_vehicle().get(pk=pack.pk)
