"""What the page of one car shows."""

from dataclasses import dataclass

from packs.models import Installation, Ownership, Pack, Vehicle, Visit
from packs.reads import names
from packs.rules.vehicles import normalise_vin, vin_warning

VISITS_SHOWN = 10


@dataclass(frozen=True)
class VehiclePage:
    """A car, the packs it had, newest first, its visits, and whose it was."""

    vehicle: Vehicle
    present: Pack | None
    installations: tuple[Installation, ...]
    visits: tuple[Visit, ...]
    ownerships: tuple[Ownership, ...]
    vin_warning: str | None


def gather(vin: str, *, with_owner: bool) -> VehiclePage:
    """The car of that VIN; NotFound where there is none. Owners only for who may see them."""
    vehicle = names.keyed(Vehicle.objects.all(), vin=normalise_vin(vin))
    had = tuple(
        Installation.objects.select_related("pack__pack_type")
        .filter(vehicle=vehicle, voided_at=None)
        .order_by("-installed_at", "-pk")
    )
    owners = Ownership.objects.select_related("customer").filter(vehicle=vehicle)
    return VehiclePage(
        vehicle=vehicle,
        present=next((row.pack for row in had if row.removed_at is None), None),
        installations=had,
        visits=tuple(vehicle.visits.order_by("-opened_at", "-pk")[:VISITS_SHOWN]),
        ownerships=tuple(owners.order_by("-from_at", "-pk")) if with_owner else (),
        vin_warning=vin_warning(vehicle.vin),
    )
