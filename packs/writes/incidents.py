"""Recording incidents and near misses."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from packs.errors import Contradiction
from packs.models import Incident
from packs.reads import names
from packs.writes.actors import Actor
from packs.writes.recording import Outcome, said
from packs.writes.visit_facts import (
    faults_of_time,
    future_faults,
    instant,
    record_alone,
    record_on,
)

KINDS: Mapping[str, str] = {
    Incident.Kinds.INCIDENT: "Incident",
    Incident.Kinds.NEAR_MISS: "Near miss",
}
HARM: Mapping[str, str] = {
    Incident.Harm.NONE: "nobody hurt, nothing damaged",
    Incident.Harm.FIRST_AID: "first aid",
    Incident.Harm.MEDICAL: "medical treatment",
    Incident.Harm.DAMAGE: "damage",
}


def record_incident(*, by: Actor, at: datetime, entry: Mapping[str, Any]) -> Outcome[Incident]:
    """Store what happened, on a visit or on none; `entry` holds its fields as in the API."""
    visit = names.visit(entry.get("visit"))
    happened_at = instant(Incident, entry, by=by, at=at)
    faults = (
        future_faults(happened_at, "/at", at=at)
        if visit is None
        else faults_of_time(visit, happened_at, "/at", at=at)
    )
    if faults:
        raise Contradiction(faults)
    content = {
        "happened_at": happened_at,
        "kind": str(entry["kind"]),
        "harm": str(entry["harm"]),
        "what": entry["what"],
        "action": entry.get("action") or "",
    }
    told = said(Incident, entry)
    if visit is None:
        return record_alone(Incident, {**content, "visit": None}, told, by=by, at=at)
    return record_on(
        visit,
        Incident,
        by=by,
        at=at,
        happened_at=happened_at,
        content=content,
        said=told,
        summary=f"{KINDS[content['kind']]}: {HARM[content['harm']]}",
        in_hand=False,
    )
