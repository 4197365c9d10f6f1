"""Parts other than modules, by their tags."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from packs.errors import Conflict, Contradiction, Fault
from packs.models import Component
from packs.reads import component_places as places
from packs.reads import names
from packs.rules.part_verdicts import RATINGS, plate_of
from packs.writes import component_places
from packs.writes.actors import Actor
from packs.writes.keeping import change, keep
from packs.writes.recording import Outcome

SAYS_WHY = {Component.Status.QUARANTINED, Component.Status.SCRAPPED}


def create_component(*, by: Actor, at: datetime, entry: Mapping[str, Any]) -> Outcome[Component]:
    """Store a part; `entry` holds its fields by their names in the API."""
    donor = entry.get("donor_pack")
    content: dict[str, Any] = {
        "kind": str(entry["kind"]),
        "part_number": entry.get("part_number") or "",
        "ratings": entry.get("ratings") or {},
        "donor_pack": None if donor is None else names.pack(donor, "/donor_pack"),
        "status": entry.get("status") or Component.Status.STOCK.value,
        "status_reason": entry.get("status_reason") or "",
    }
    _must_say_why(content["status"], content["status_reason"])
    _must_be_of_kind(content["kind"], content["ratings"])
    with transaction.atomic():
        outcome = keep(Component, by=by, at=at, key={"tag": entry["tag"]}, content=content)
        if outcome.created:
            _must_be_where_it_says(outcome.row, content["status"])
            component_places.settle_one(outcome.row, by=by, at=at)
            outcome.row.refresh_from_db()
    return outcome


def change_component(
    row: Component, *, by: Actor, at: datetime, version: int, changes: Mapping[str, Any]
) -> Component:
    """Store another state, other ratings or another part number.

    Whether a part is fitted is for swaps to say.
    """
    columns: dict[str, Any] = {
        name: value or "" if name in TEXTS else value for name, value in changes.items()
    }
    if "ratings" in columns:
        columns["ratings"] = columns["ratings"] or {}
        _must_be_of_kind(row.kind, columns["ratings"])
    with transaction.atomic():
        held = component_places.locked([row.tag])[row.tag]
        wanted = columns.get("status", held.status)
        if wanted != held.status:
            columns.setdefault("status_reason", "")
            _must_say_why(wanted, columns["status_reason"])
            _must_be_loose(held)
            _must_be_where_it_says(held, wanted)
        change(held, by=by, at=at, version=version, key=held.tag, changes=columns)
    return held


TEXTS = ("part_number", "status_reason")


def _must_be_of_kind(kind: str, ratings: Mapping[str, Any]) -> None:
    """Raise Contradiction for what no plate of the kind states, or states in words."""
    known, what = plate_of(kind), kind.replace("_", " ")
    faults = [
        Fault(
            f"/ratings/{name}",
            "not_of_kind",
            f"Of a {what} {name} is no rating; it is one of: {', '.join(known)}.",
        )
        for name in ratings
        if name not in known
    ]
    faults += [
        Fault(f"/ratings/{name}", "not_a_number", f"Send {name} as a number, in {RATINGS[name]}.")
        for name, value in ratings.items()
        if name in known and isinstance(value, str)
    ]
    if faults:
        raise Contradiction(faults)


def _must_say_why(status: str, reason: str) -> None:
    if status in SAYS_WHY and not reason:
        sentence = f"Say in status_reason why the part is {status}, for who finds it on the shelf."
        raise Contradiction.at("/status_reason", "reason_needed", sentence)


def _sits(component: Component) -> places.Sitting | None:
    sat = places.of([component.tag])[component.tag]
    return next((sitting for sitting in sat if sitting.removed_at is None), None)


def _must_be_loose(component: Component) -> None:
    sits = _sits(component)
    if sits is not None:
        raise Conflict.at(
            "/status",
            "component_sits",
            f"Part {component.tag} sits in slot {sits.slot} of pack {sits.serial}; record the swap "
            "that takes it out first.",
        )


def _must_be_where_it_says(component: Component, wanted: str) -> None:
    if wanted == Component.Status.FITTED and _sits(component) is None:
        raise Conflict.at(
            "/status",
            "fitted_by_a_swap",
            f"Part {component.tag} sits in no pack; record the swap that fits it instead.",
        )
