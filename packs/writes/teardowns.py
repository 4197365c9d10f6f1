"""Recording what is taken out of a pack; without a lock-out there is none."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from packs.errors import Contradiction
from packs.models import Pack, Teardown
from packs.writes import gates
from packs.writes.actors import Actor
from packs.writes.lock_outs import must_be_locked_out
from packs.writes.openings import (
    must_fit,
    part_faults,
    photos_of,
    seen_rows,
    told_fasteners,
    told_parts,
)
from packs.writes.recording import Outcome, lock, said
from packs.writes.visit_facts import faults_of_time, instant, record_on


def record_teardown(*, by: Actor, at: datetime, entry: Mapping[str, Any]) -> Outcome[Teardown]:
    """Store what came out; `entry` holds its fields by their names in the API.

    Raises Conflict without a standing lock-out, or where what is said can not have been.
    """
    visit = gates.visit_with_pack(entry["visit"])
    pack = visit.pack
    assert pack is not None
    happened_at = instant(Teardown, entry, by=by, at=at)
    with transaction.atomic():
        lock(pack.pk)
        before = gates.sent_before(Teardown, entry, by=by)
        lock_out = before.lock_out if before else must_be_locked_out(visit, happened_at)
        faults = faults_of_time(visit, happened_at, "/at", at=at)
        faults += part_faults(pack.pack_type, entry)
        if faults:
            raise Contradiction(faults)
        return record_on(
            visit,
            Teardown,
            by=by,
            at=at,
            happened_at=happened_at,
            content={"lock_out": lock_out, "happened_at": happened_at, **_content(pack, entry)},
            said=said(Teardown, entry),
            summary=f"Taken out: {told_parts(entry)}{told_fasteners(entry)}",
            then=must_fit,
        )


def _content(pack: Pack, entry: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "part": str(entry["part"]),
        "places": list(entry.get("places") or ()),
        "slot": entry.get("slot") or "",
        "fasteners": [_fastener(row) for row in entry.get("fasteners") or ()],
        "seen": seen_rows(entry),
        "photos": photos_of(pack, entry),
        "note": entry.get("note") or "",
    }


def _fastener(row: Mapping[str, Any]) -> dict[str, Any]:
    paint = row.get("torque_paint")
    counted = {"kind": row["kind"], "count": row["count"]}
    return {**counted, "torque_paint": str(paint)} if paint else counted
