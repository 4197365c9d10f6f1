"""Vehicles: recording one by its VIN, changing it, and whose it was from when until when."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from packs.errors import Contradiction
from packs.models import Customer, Ownership, Vehicle
from packs.reads import names
from packs.rules.vehicles import alike_key, normalise_vin, search_key, vin_problem
from packs.writes.actors import Actor
from packs.writes.keeping import change, keep
from packs.writes.recording import Outcome

PERSONAL = frozenset({"customer"})


def create_vehicle(*, by: Actor, at: datetime, entry: Mapping[str, Any]) -> Outcome[Vehicle]:
    """Store a vehicle; `entry` holds its fields by their names in the API."""
    vin = normalise_vin(entry["vin"])
    problem = vin_problem(vin)
    if problem is not None:
        raise Contradiction.at("/vin", "not_a_vin", f"{problem} Read it from the car again.")
    content = _columns({"plate": None, "description": None, **entry})
    content.pop("vin")
    keys = {name: content.pop(name) for name in ("plate_key", "plate_alike")}
    with transaction.atomic():
        outcome = keep(Vehicle, by=by, at=at, key={"vin": vin}, content=content, beside=keys)
        if outcome.created:
            _pass_on(outcome.row, content.get("customer"), at=at)
    return outcome


def change_vehicle(
    row: Vehicle, *, by: Actor, at: datetime, version: int, changes: Mapping[str, Any]
) -> Vehicle:
    """Store other particulars; another customer ends one ownership and begins the next."""
    columns = _columns(changes)
    owner_before = row.customer_id
    with transaction.atomic():
        changed = change(
            row,
            by=by,
            at=at,
            version=version,
            key=row.vin,
            changes=columns,
            personal=PERSONAL,
        )
        if changed.customer_id != owner_before:
            _pass_on(changed, columns["customer"], at=at)
    return changed


def _columns(said: Mapping[str, Any]) -> dict[str, Any]:
    """The columns of what is said."""
    columns = dict(said)
    for name in {"plate", "description"} & columns.keys():
        columns[name] = columns[name] or ""
    if "plate" in columns:
        columns["plate_key"] = search_key(columns["plate"])
        columns["plate_alike"] = alike_key(columns["plate"])
    if "customer" in columns:
        columns["customer"] = names.customer(columns["customer"])
    return columns


def _pass_on(vehicle: Vehicle, customer: Customer | None, *, at: datetime) -> None:
    """From `at` on the car is the customer's, or nobody's that is known."""
    present = Ownership.objects.filter(vehicle=vehicle, until_at__isnull=True).first()
    if present is not None:
        present.until_at = max(at, present.from_at)
        present.save(update_fields=["until_at"])
    if customer is not None:
        begun = at if present is None else max(at, present.from_at)
        Ownership.objects.create(vehicle=vehicle, customer=customer, from_at=begun)
