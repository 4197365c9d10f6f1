"""What most papers say first: whose car, which car, which pack; and what they say last."""

from datetime import datetime

from packs.models import Installation, Ownership, Pack, Vehicle, Visit
from packs.models.types import Chemistry
from packs.pages import units
from packs.pages.papers.asking import Asked
from packs.pages.papers.blocks import Caution
from packs.rules import arithmetic

CHEMISTRY = {Chemistry.NIMH: "nickel-metal-hydride", Chemistry.LI_ION: "lithium-ion"}
DANGER = Caution(
    "High voltage",
    "The pack holds a dangerous voltage in the car and out of it, also with the car switched off "
    "and the service switch out. Do not open it, and keep it dry. This paper is a record, and a "
    "record is no permission: local codes and licensed practice decide who may work on a pack.",
)


def of_owner(vehicle: Vehicle | None, *, on: datetime, asked: Asked) -> list[tuple[str, str]]:
    """The owner of that time, for the roles that may see customers."""
    if vehicle is None or not asked.sees_owner:
        return []
    ownership = _ownership(vehicle, on)
    if ownership is None:
        return []
    customer = ownership.customer
    return [("Owner", customer.name), ("Telephone", customer.phone)]


def _ownership(vehicle: Vehicle, on: datetime) -> Ownership | None:
    """The one that held then; where none did yet, the first that was told after."""
    rows = list(vehicle.ownerships.select_related("customer").order_by("from_at", "pk"))
    held = [
        row for row in rows if row.from_at <= on and (row.until_at is None or row.until_at > on)
    ]
    after = [row for row in rows if row.from_at > on]
    return next(iter([*reversed(held), *after]), None)


def of_car(vehicle: Vehicle | None) -> list[tuple[str, str]]:
    if vehicle is None:
        return []
    year = "" if vehicle.model_year is None else str(vehicle.model_year)
    car = ", ".join(part for part in (vehicle.description, year) if part)
    return [("Car", car), ("Plate", vehicle.plate), ("VIN", vehicle.vin)]


def of_pack(pack: Pack | None) -> list[tuple[str, str]]:
    if pack is None:
        return []
    kind = pack.pack_type
    volts = arithmetic.nominal_v(kind.module_count, kind.cells_per_module, kind.cell_nominal_v)
    made_of = f"{kind.module_count} modules, {CHEMISTRY[Chemistry(kind.chemistry)]}"
    return [
        ("Pack", pack.serial),
        ("Type", f"{kind.name}: {made_of}, {volts:.6g}\u00a0V nominal"),
    ]


def serial_of(pack: Pack | None) -> str:
    return "" if pack is None else pack.serial


def of_visit(visit: Visit | None, asked: Asked) -> list[tuple[str, str]]:
    if visit is None:
        return []
    return [
        ("Came in", units.moment(visit.opened_at)),
        ("Odometer", units.distance(visit.odometer_km, asked.site)),
    ]


def car_of(pack: Pack, *, on: datetime) -> Vehicle | None:
    """The car that the pack sat in at that instant, or went into next."""
    rows = Installation.objects.filter(pack=pack, voided_at__isnull=True)
    rows = rows.select_related("vehicle").order_by("installed_at", "pk")
    held = [row for row in rows if row.removed_at is None or row.removed_at > on]
    return held[0].vehicle if held else None
