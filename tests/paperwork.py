"""A car that came, was measured, mended and went, so that every paper has something to tell."""

from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from typing import Any

from packs.models import Core, CostEstimate, Installation, Pack, Vehicle, Visit, Warranty
from packs.rules.identity import encode
from packs.writes import (
    consents,
    cores,
    cost_estimates,
    customers,
    installations,
    modules,
    sites,
    swaps,
    trouble_codes,
    vehicles,
    visits,
    warranties,
)
from tests import world

VIN = "TST12345678900001"
OWNER, PHONE = "Žofie Παππά-Шевченко", "+43 660 123456"
LINES = [
    {
        "kind": "part",
        "what": "Module, used, tested",
        "quantity": Decimal(3),
        "unit_price": Decimal("84.5"),
    },
    {
        "kind": "labour",
        "what": "Hours at the bench",
        "quantity": Decimal("5.5"),
        "unit_price": Decimal(92),
    },
]


@dataclass(frozen=True)
class Paperwork:
    """The ids that papers are found by."""

    pack: Pack
    visit: str
    estimate: str
    warranty: str
    core: str

    @property
    def keys(self) -> dict[str, str]:
        return {
            "intake": self.visit,
            "estimate": self.estimate,
            "test_certificate": self.visit,
            "warranty_certificate": self.warranty,
            "core_receipt": self.core,
        }


def site(**changes: Any) -> None:
    entry = {
        "code": "main",
        "name": "Riverside Pack Works",
        "time_zone": "Europe/Vienna",
        "currency": "EUR",
        **changes,
    }
    sites.create_site(by=world.actor(), at=world.BEGUN, entry=entry)


def car(pack: Pack, **owner: Any) -> None:
    """The pack's car and its owner."""
    by, at = world.actor(), world.BEGUN
    said = {"name": OWNER, "phone": PHONE, **owner}
    customer = customers.create_customer(by=by, at=at, entry=said).row
    entry = {
        "vin": VIN,
        "plate": "W-1234 X",
        "model_year": 2015,
        "description": "Hatchback, hybrid",
        "customer": encode(customer.PREFIX, customer.pk),
    }
    vehicles.create_vehicle(by=by, at=at, entry=entry)
    installed = {"pack": pack.serial, "vehicle": VIN, "installed_at": at}
    installations.record_installation(by=by, at=at, entry=installed)


def done(**changes: Any) -> Paperwork:
    """Everything of one visit, recorded as it happened; `changes` are those of the visit."""
    pack = world.pack()
    car(pack)
    visit = opened(complaint="The fan is loud, the warning came on uphill.", **changes)
    world.check(
        pack, weak(8, 0.9), at=world.later(10.1), taken_at=world.later(10.1), visit=visit, **LOAD
    )
    mended(pack, visit)
    world.check(
        pack, weak(8, 0.1), at=world.later(12), taken_at=world.later(12), visit=visit, **LOAD
    )
    return Paperwork(pack, visit, estimated(visit), warranted(pack, visit), owed(visit))


NORMAL = {"orientation": "normal"}
LOAD: dict[str, Any] = {
    "condition": "load",
    "current_a": 20.0,
    "temperature_c": 24.0,
    "instrument": "tester 2",
}


def weak(position: int, below_v: float) -> list[float]:
    """Modules under load, one of them lower than the others by about that much, V."""
    volts = world.healthy_v(level_v=7.4)
    volts[position - 1] = round(7.4 - below_v, 4)
    return volts


def opened(**changes: Any) -> str:
    entry = {"vehicle": VIN, "opened_at": world.later(10), "odometer_km": 152_300, **changes}
    visit = visits.open_visit(by=world.actor(), at=world.later(10), entry=entry).row
    key = encode(Visit.PREFIX, visit.pk)
    code = {"visit": key, "code": "P0A80", "control_unit": "battery monitor", "status": "confirmed"}
    trouble_codes.record_trouble_code(by=world.actor(), at=world.later(10), entry=code)
    return key


def mended(pack: Pack, visit: str) -> None:
    """Module 8 gave way to one from a lot, modules 1 and 2 changed places, the fuse was changed."""
    by, at = world.actor(), world.later(11)
    modules.create_lot(by=by, at=at, entry={"code": "LOT-7"})
    for tag, more in (("M-NEW", {"lot": "LOT-7"}), ("M-1", {}), ("M-2", {})):
        entry = {"tag": tag, "form": "prismatic", "cells": 6, **more}
        modules.create_module(by=by, at=at, entry=entry)
    said = {"pack": pack.serial, "visit": visit}
    first = [
        {"position": 1, "fitted": "M-1", **NORMAL},
        {"position": 2, "fitted": "M-2", **NORMAL},
    ]
    exchanged = [
        {"position": 1, "removed": "M-1", "fitted": "M-2", **NORMAL},
        {"position": 2, "removed": "M-2", "fitted": "M-1", **NORMAL},
        {"position": 8, "fitted": "M-NEW", **NORMAL},
    ]
    earlier = {"pack": pack.serial, "kind": "module", "done_at": world.later(2), "changes": first}
    swaps.record_swap(by=by, at=at, entry=earlier)
    now = {**said, "kind": "module", "done_at": at, "changes": exchanged}
    swaps.record_swap(by=by, at=at, entry=now)
    fuse = {**said, "kind": "component", "done_at": at, "changes": [{"slot": "fuse", **NORMAL}]}
    swaps.record_swap(by=by, at=at, entry=fuse)


def estimated(visit: str, **changes: Any) -> str:
    at = world.later(10.5)
    entry = {"visit": visit, "at": at, "tax_pct": Decimal(20), "lines": LINES, **changes}
    row = cost_estimates.record_cost_estimate(by=world.actor(), at=at, entry=entry).row
    return encode(CostEstimate.PREFIX, row.pk)


def agreed(visit: str, estimate: str, *, given: bool = True) -> None:
    entry = {
        "visit": visit,
        "estimate": estimate,
        "about": "extra_work",
        "given": given,
        "how": "telephone",
    }
    consents.record_consent(by=world.actor(), at=world.later(10.6), entry=entry)


def warranted(pack: Pack, visit: str, **changes: Any) -> str:
    entry = {
        "pack": pack.serial,
        "visit": visit,
        "repair_kind": "module_swap",
        "starts_on": world.later(12).date(),
        "months": 12,
        "km": 20_000,
        "starts_km": 152_310,
        "covers": "The modules fitted on this visit.",
        "excludes": "Damage by water.",
        "labour": True,
        **changes,
    }
    row = warranties.record_warranty(by=world.actor(), at=world.later(12), entry=entry).row
    return encode(Warranty.PREFIX, row.pk)


def owed(visit: str, **changes: Any) -> str:
    old, began = world.pack("OLD-77"), world.BEGUN
    Installation.objects.create(
        pack=old,
        vehicle=Vehicle.objects.get(vin=VIN),
        installed_at=began - timedelta(days=900),
        removed_at=began,
        **world.posted(b"old", began),
    )
    entry = {
        "pack": "OLD-77",
        "visit": visit,
        "deposit": Decimal("1250"),
        "due_on": world.later(42).date(),
        **changes,
    }
    row = cores.record_core(by=world.actor(), at=world.later(12), entry=entry).row
    return encode(Core.PREFIX, row.pk)
