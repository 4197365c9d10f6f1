"""Recording old packs that are owed in exchange, and what became of each."""

from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any

from packs.errors import Contradiction, Fault
from packs.models import Core, Pack, Photo, Visit
from packs.reads import names, sites
from packs.writes.actors import Actor
from packs.writes.judging import day_faults
from packs.writes.recording import Outcome, midnight, record, said

ANSWERS = ("complete", "opened", "flooded")
AS_SAID = ("deposit", "due_on", "returned_on", *ANSWERS, "refund")


def record_core(*, by: Actor, at: datetime, entry: Mapping[str, Any]) -> Outcome[Core]:
    """Store how a core stands; `entry` holds its fields by their names in the API.

    How it goes on is told by the whole core again, in place of the record before.
    """
    pack = names.pack(entry["pack"])
    state = entry.get("state") or Core.State.DUE.value
    visit = names.visit_of(pack, entry.get("visit"))
    photos = _photos(entry, pack)
    returned_on = entry.get("returned_on")
    faults = [*_faults(entry, state)]
    if returned_on is not None:
        faults += day_faults(pack, returned_on, "/returned_on", at=at, zone=sites.zone())
    if faults:
        raise Contradiction(faults)
    return record(
        Core,
        by=by,
        at=at,
        pack_id=pack.pk,
        happened_at=_when(entry, visit, at),
        content={
            **{name: entry.get(name) for name in AS_SAID},
            "state": state,
            "reason": entry.get("reason") or "",
            "visit": visit,
            "photos": photos,
        },
        said=said(Core, entry),
        summary=_summary(entry, state),
        in_hand=returned_on is not None,
    )


def _when(entry: Mapping[str, Any], visit: Visit | None, at: datetime) -> datetime:
    """The day it came back; until then, the visit on which it was promised."""
    if entry.get("returned_on") is not None:
        return midnight(entry["returned_on"])
    return at if visit is None else visit.opened_at


def _photos(entry: Mapping[str, Any], pack: Pack) -> list[str]:
    """The ids of its photographs; Contradiction for one of another pack."""
    photos = list(entry.get("photos") or [])
    for place, key in enumerate(photos):
        photo = names.fact(Photo, key, f"/photos/{place}")
        assert photo is not None
        if photo.pack_id != pack.pk:
            sentence = f"That photograph is not of pack {pack.serial}; name one of this pack."
            raise Contradiction.at(f"/photos/{place}", "photo_of_another_pack", sentence)
    return photos


def _faults(entry: Mapping[str, Any], state: str) -> Iterator[Fault]:
    if state == Core.State.DUE:
        yield from _due_faults(entry)
        return
    if entry.get("returned_on") is None:
        sentence = f"A core that is {state} came back on a day; give returned_on."
        yield Fault("/returned_on", "not_returned", sentence)
    if state == Core.State.REFUSED:
        if not entry.get("reason"):
            sentence = "Say why the core is refused; the owner will ask."
            yield Fault("/reason", "reason_needed", sentence)
    else:
        yield from _acceptance_faults(entry)
    yield from _refund_faults(entry, state)


def _due_faults(entry: Mapping[str, Any]) -> Iterator[Fault]:
    for name in ("returned_on", "refund"):
        if entry.get(name) is not None:
            sentence = f"A core that is still due has no {name}; leave it out, or say its state."
            yield Fault(f"/{name}", "still_due", sentence)


def _acceptance_faults(entry: Mapping[str, Any]) -> Iterator[Fault]:
    """A core is accepted complete, unopened and dry, or with a reason why it is all the same."""
    for name in ANSWERS:
        if entry.get(name) is None:
            sentence = f"Say whether the core is {name}, yes or no, before it is accepted."
            yield Fault(f"/{name}", "not_answered", sentence)
    against = entry.get("complete") is False or entry.get("opened") or entry.get("flooded")
    if against and not entry.get("reason"):
        sentence = "The core is incomplete, opened or flooded; say why it is accepted all the same."
        yield Fault("/reason", "reason_needed", sentence)


def _refund_faults(entry: Mapping[str, Any], state: str) -> Iterator[Fault]:
    refund = entry.get("refund")
    if state == Core.State.REFUNDED and refund is None:
        yield Fault("/refund", "refund_needed", "Say how much of the deposit was given back.")
    if state != Core.State.REFUNDED and refund is not None:
        yield Fault("/refund", "not_refunded", "A refund goes with the state refunded; say that.")
    if refund is not None and refund > entry["deposit"]:
        sentence = f"The refund, {refund}, is more than the deposit, {entry['deposit']}."
        yield Fault("/refund", "more_than_deposit", f"{sentence} Correct one of them.")


def _summary(entry: Mapping[str, Any], state: str) -> str:
    if state == Core.State.DUE:
        return f"Core due by {entry['due_on'].isoformat()}"
    return f"Core {state}, returned {entry['returned_on'].isoformat()}"
