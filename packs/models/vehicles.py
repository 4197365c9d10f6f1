"""Cars, whose they are, and which pack sat in which."""

from typing import ClassVar

from django.db import models
from django.db.models import F, Q

from packs.models.facts import Fact, Keyed
from packs.rules.people import KEY_LENGTH


class Customer(Keyed):
    """Personal data, in a table of its own: everything else holds only its id."""

    PREFIX: ClassVar[str] = "cu"
    KIND: ClassVar[str] = "customer"

    name = models.CharField(max_length=200)
    phone = models.CharField(max_length=40, default="", blank=True)
    email = models.CharField(max_length=254, default="", blank=True)
    name_key = models.CharField(max_length=KEY_LENGTH, default="", db_index=True)
    phone_key = models.CharField(max_length=40, default="", db_index=True)
    external_id = models.CharField(max_length=200, null=True)  # noqa: DJ001

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["client", "external_id"], name="customer_once_per_client"
            )
        ]


class Vehicle(Keyed):
    """A car by its VIN; `plate_alike` is what search compares, and the VIN, which has no I or O."""

    PREFIX: ClassVar[str] = "ve"
    KIND: ClassVar[str] = "vehicle"

    vin = models.CharField(max_length=17, unique=True)
    plate = models.CharField(max_length=20, default="", blank=True)
    plate_key = models.CharField(max_length=60, default="", blank=True, db_index=True)
    plate_alike = models.CharField(max_length=60, default="", blank=True)
    model_year = models.PositiveSmallIntegerField(null=True)
    description = models.CharField(max_length=200, default="", blank=True)
    customer = models.ForeignKey(Customer, models.PROTECT, null=True, related_name="vehicles")

    class Meta:
        indexes = [models.Index(fields=["plate_alike", "id"], name="vehicle_found_by_plate")]


class Ownership(models.Model):
    """Whose car it was, from when, until when."""

    vehicle = models.ForeignKey(Vehicle, models.PROTECT, related_name="ownerships")
    customer = models.ForeignKey(Customer, models.PROTECT, related_name="ownerships")
    from_at = models.DateTimeField()
    until_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(until_at__isnull=True) | Q(until_at__gte=F("from_at")),
                name="ownership_ends_after_it_begins",
            ),
            models.UniqueConstraint(
                fields=["vehicle"],
                condition=Q(until_at__isnull=True),
                name="ownership_one_at_a_time",
            ),
        ]


class Installation(Fact):
    """When a pack sat in which car."""

    PREFIX: ClassVar[str] = "in"
    KIND: ClassVar[str] = "installation"

    vehicle = models.ForeignKey(Vehicle, models.PROTECT, related_name="installations")
    installed_at = models.DateTimeField()
    installed_km = models.PositiveIntegerField(null=True)
    removed_at = models.DateTimeField(null=True)
    removed_km = models.PositiveIntegerField(null=True)

    class Meta(Fact.Meta):
        constraints = [
            *Fact.Meta.constraints,
            models.CheckConstraint(
                condition=Q(removed_at__isnull=True) | Q(removed_at__gt=F("installed_at")),
                name="installation_ends_after_it_begins",
            ),
        ]
        indexes = [models.Index(fields=["pack", "installed_at"], name="installation_by_pack")]
