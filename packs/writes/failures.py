"""Recording that a pack failed: what the car or the bench said of it."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from packs.errors import Contradiction
from packs.models import Failure
from packs.reads import names, sites
from packs.writes.actors import Actor
from packs.writes.judging import day_faults
from packs.writes.recording import Outcome, midnight, record, said


def record_failure(*, by: Actor, at: datetime, entry: Mapping[str, Any]) -> Outcome[Failure]:
    """Store a failure; `entry` holds its fields by their names in the API."""
    pack = names.pack(entry["pack"])
    happened_at = midnight(entry["failed_on"])
    faults = day_faults(pack, entry["failed_on"], "/failed_on", at=at, zone=sites.zone())
    if faults:
        raise Contradiction(faults)
    content = {
        "failed_on": entry["failed_on"],
        "cause": entry["cause"],
        "how_known": entry["how_known"],
        "visit": names.visit_of(pack, entry.get("visit")),
    }
    return record(
        Failure,
        by=by,
        at=at,
        pack_id=pack.pk,
        happened_at=happened_at,
        content=content,
        said=said(Failure, entry),
        summary=f"Failed: {entry['cause']}, {entry['how_known']}".replace("_", " "),
    )
