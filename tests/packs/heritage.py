"""A lot and a donor pack whose modules went many ways, and the car that one of them is in."""

from typing import Any

from django.utils import timezone

from packs.models import Customer, Lot, Module, ModuleTest, Pack
from packs.rules.identity import encode
from packs.writes import customers, installations, modules, swaps, vehicles
from packs.writes.digests import digest
from tests import world

VIN = "TST12345678900077"
OWNER, PHONE = "Rosalind Marsh", "0660 123"


def lot(code: str = "L-7", **entry: Any) -> Lot:
    return modules.create_lot(by=world.actor(), at=world.BEGUN, entry={"code": code, **entry}).row


def judged(module: Module, word: str, *, day: float = 1, kind: str = "capacity") -> ModuleTest:
    """A test with that verdict."""
    ended_at = world.later(days=day)
    return ModuleTest.objects.create(
        module=module,
        kind=kind,
        started_at=ended_at,
        ended_at=ended_at,
        computed={"verdict": word},
        **world.posted(digest({"tag": module.tag, "word": word, "at": ended_at, "kind": kind})),
    )


def fit(pack: Pack, position: int, *, day: float = 10, **change: Any) -> None:
    """A swap at one position."""
    told = {"position": position, "orientation": "normal", "removed": None, "fitted": None}
    entry = {"pack": pack.serial, "done_at": world.later(days=day), "kind": "module"}
    swaps.record_swap(
        by=world.actor(), at=timezone.now(), entry={**entry, "changes": [{**told, **change}]}
    )


def car(pack: Pack, vin: str = VIN) -> Customer:
    """The pack sits in a car with an owner."""
    who, at = world.actor(), world.BEGUN
    said = {"name": OWNER, "phone": PHONE}
    owner = customers.create_customer(by=who, at=at, entry=said).row
    told = {"vin": vin, "plate": "W-77 X", "customer": encode(Customer.PREFIX, owner.pk)}
    vehicles.create_vehicle(by=who, at=at, entry=told)
    sat = {"pack": pack.serial, "vehicle": vin, "installed_at": world.later(days=20)}
    installations.record_installation(by=who, at=timezone.now(), entry=sat)
    return owner


def spread() -> tuple[Lot, Pack, Pack]:
    """Five of a lot: A sits in TP-0001, B sat there and is scrapped, C is in stock and passed, D
    is reserved and failed, E is on test."""
    bought = lot(unit_cost=30, count=10)
    first, second = world.pack("TP-0001"), world.pack("TP-0002")
    made = {tag: world.module(tag, lot=bought) for tag in "ABCDE"}
    fit(first, 3, fitted="A")
    fit(first, 4, fitted="B")
    fit(first, 4, day=12, removed="B")
    Module.objects.filter(tag="B").update(status="scrapped")
    Module.objects.filter(tag="D").update(status="reserved")
    Module.objects.filter(tag="E").update(status="on_test")
    judged(made["A"], "pass")
    judged(made["C"], "fail", day=1)
    judged(made["C"], "pass", day=2)
    judged(made["D"], "pass")
    judged(made["D"], "fail", kind="resistance")
    judged(made["E"], "no_mark")
    return bought, first, second
