"""Whose the cars are that packs sit in: personal data, for who may see customers."""

from packs.models import Customer, Pack


def owner_of(pack: Pack) -> Customer | None:
    """The owner of the car that the pack sits in now."""
    cars = Customer.objects.filter(
        vehicles__installations__pack=pack,
        vehicles__installations__voided_at__isnull=True,
        vehicles__installations__removed_at__isnull=True,
    )
    return cars.order_by("-vehicles__installations__installed_at").first()
