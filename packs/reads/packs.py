"""Packs with the car that each sits in."""

from datetime import datetime
from typing import Any

from django.db.models import OuterRef, Q, QuerySet, Subquery

from packs.models import Installation, Pack, Vehicle
from packs.reads import names


def with_vehicle() -> QuerySet[Pack]:
    """Packs with their type, and the VIN of the car that each sits in as `vin`."""
    present = Installation.objects.filter(
        pack=OuterRef("pk"), voided_at__isnull=True, removed_at__isnull=True
    )
    return names.packs().annotate(vin=Subquery(present.values("vehicle__vin")[:1]))


def sitting_in(vin: str) -> QuerySet[Installation, Any]:
    """The numbers of the packs that sit in the car now."""
    return Installation.objects.filter(
        vehicle__vin=vin, voided_at__isnull=True, removed_at__isnull=True
    ).values("pack")


def in_vehicle(vehicle: Vehicle, *, at: datetime) -> Pack | None:
    """The pack that sat in the car at that instant; the one put in last where there are two."""
    held = Installation.objects.filter(
        Q(removed_at__isnull=True) | Q(removed_at__gt=at),
        vehicle=vehicle,
        voided_at__isnull=True,
        installed_at__lte=at,
    )
    found = held.select_related("pack__pack_type").order_by("-installed_at", "-pk").first()
    return None if found is None else found.pack
