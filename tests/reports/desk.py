"""A shop with cars in it, packs whose outlook is given, and owners to call."""

from datetime import datetime, timedelta
from typing import Any

from packs.models import Call, Core, Customer, Installation, Pack, Swap, Vehicle, Visit
from packs.rules.identity import encode
from packs.writes import customers, vehicles
from reports.models import Outlook
from reports.writes.fits import prior
from tests import world


def owner(name: str = "Rosalind Marsh", phone: str = "0660 123") -> Customer:
    entry = {"name": name, "phone": phone, "email": None}
    return customers.create_customer(by=world.actor(), at=world.later(), entry=entry).row


def car(number: int = 1, customer: Customer | None = None) -> Vehicle:
    entry: dict[str, Any] = {"vin": f"TST123456789{number:05d}", "plate": f"W-{number} X"}
    if customer is not None:
        entry["customer"] = encode(Customer.PREFIX, customer.pk)
    return vehicles.create_vehicle(by=world.actor(), at=world.later(), entry=entry).row


def pack_in(vehicle: Vehicle, serial: str) -> Pack:
    """A pack that sits in the car."""
    pack = world.pack(serial)
    at = world.later()
    Installation.objects.create(
        pack=pack, vehicle=vehicle, installed_at=at, **world.posted(serial.encode(), at)
    )
    return pack


def told(pack: Pack, level: str, **changes: Any) -> Outlook:
    """The pack's present outlook, owed nothing; the one told before ends where it begins."""
    Pack.objects.filter(pk=pack.pk).update(estimate_due_at=None)
    pack.refresh_from_db()
    begins = changes.pop("known_at", pack.settled_at + timedelta(seconds=1))
    Outlook.objects.filter(pack=pack, told_until=None).update(told_until=begins)
    figures: dict[str, Any] = {
        "p30": 0.05,
        "p90": 0.15,
        "p180": 0.31,
        "p365": 0.52,
        "spread_now_v": 0.42,
        "limit_v": 1.2,
        "growth_per_year": 0.35,
        "weakest_position": 7,
        **changes,
    }
    return Outlook.objects.create(
        pack=pack,
        pack_revision=pack.revision,
        fit=prior(),
        as_of=begins,
        known_at=begins,
        level=level,
        reference_load_a=20.0,
        checks_used=3,
        series="rest/module",
        reasons=["Said by the trend."],
        **figures,
    )


def visit(vehicle: Vehicle | None, pack: Pack | None, at: datetime, **changes: Any) -> Visit:
    """A visit that is not closed."""
    said = {"complaint": "warning light", **changes}
    return Visit.objects.create(
        vehicle=vehicle, pack=pack, opened_at=at, **said, **world.posted(b"visit", at)
    )


def call(pack: Pack, at: datetime, reason: str = "outlook", **changes: Any) -> Call:
    said = {"outcome": "reached", **changes}
    return Call.objects.create(
        pack=pack, reason=reason, happened_at=at, **said, **world.posted(b"call", at)
    )


def swap(pack: Pack, at: datetime) -> Swap:
    """A change of modules, from which a build starts."""
    Pack.objects.filter(pk=pack.pk).update(since=at)
    return Swap.objects.create(
        pack=pack, done_at=at, kind="module", starts_build=True, **world.posted(b"swap", at)
    )


def core(pack: Pack, **changes: Any) -> Core:
    said = {"state": "due", "deposit": "350.00", **changes}
    return Core.objects.create(pack=pack, **said, **world.posted(b"core"))
