"""Recording that the owner of a pack was called, or that somebody tried."""

from collections.abc import Iterator, Mapping
from datetime import date, datetime
from typing import Any

from packs.errors import Contradiction, Fault
from packs.models import Call
from packs.reads import names, sites
from packs.writes.actors import Actor
from packs.writes.judging import time_faults
from packs.writes.recording import Outcome, record, said
from packs.writes.visit_facts import instant

ABOUT: Mapping[str, str] = {
    Call.Reason.OUTLOOK: "how the pack is doing",
    Call.Reason.OWNER_WORD: "the owner's word",
    Call.Reason.READY: "a car that is ready",
    Call.Reason.CORE: "a core",
    Call.Reason.RECHECK: "a re-check",
    Call.Reason.OTHER: "another matter",
}
ENDED: Mapping[str, str] = {
    Call.Outcome.REACHED: "reached",
    Call.Outcome.NOT_REACHED: "not reached",
    Call.Outcome.BOOKED: "a visit booked",
}


def record_call(*, by: Actor, at: datetime, entry: Mapping[str, Any]) -> Outcome[Call]:
    """Store a call; `entry` holds its fields by their names in the API.

    A call is no contact with the pack: nobody has seen it.
    """
    pack = names.pack(entry["pack"])
    called_at = instant(Call, entry, by=by, at=at)
    zone = sites.zone()
    again = _again_faults(entry.get("again_on"), called_at.astimezone(zone).date())
    faults = (*time_faults(pack, called_at, "/at", at=at, zone=zone), *again)
    if faults:
        raise Contradiction(faults)
    return record(
        Call,
        by=by,
        at=at,
        pack_id=pack.pk,
        happened_at=called_at,
        content={
            "visit": names.visit_of(pack, entry.get("visit")),
            "happened_at": called_at,
            "reason": entry["reason"],
            "outcome": entry["outcome"],
            "again_on": entry.get("again_on"),
            "note": entry.get("note") or "",
        },
        said=said(Call, entry),
        summary=f"Owner called about {ABOUT[entry['reason']]}: {ENDED[entry['outcome']]}",
        in_hand=False,
    )


def _again_faults(again_on: date | None, called_on: date) -> Iterator[Fault]:
    if again_on is not None and again_on < called_on:
        sentence = "That day is before the call; give the day of the call or a later one."
        yield Fault("/again_on", "before_the_call", sentence)
