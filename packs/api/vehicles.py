"""vehicles/: cars by VIN, and for the office whose they are."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db.models import Prefetch, QuerySet
from rest_framework import serializers

from packs.api.doors import ChangeDoor, CreateDoor
from packs.api.fields import Opaque, QueryId, Text, Whole, optional
from packs.api.keyed import KeyedAnswer
from packs.api.permissions import may
from packs.api.shapes import Shape
from packs.errors import NotAllowed
from packs.models import Customer, Ownership, Vehicle
from packs.reads import names
from packs.rules.bounds import EARLIEST, LATEST
from packs.rules.vehicles import normalise_vin, search_key, vin_warning
from packs.writes import vehicles
from packs.writes.recording import Outcome

PERSONAL = ("customer", "ownerships")


class VehicleChange(Shape):
    """What may change of a vehicle."""

    plate = optional(Text, max_length=20)
    model_year = optional(Whole, min_value=EARLIEST, max_value=LATEST)
    description = optional(Text, max_length=200)
    customer = Opaque(Customer.PREFIX, required=False, allow_null=True)


class VehicleEntry(VehicleChange):
    """A vehicle as it is sent."""

    vin = Text(max_length=40)


class OwnershipAnswer(serializers.Serializer[Any]):
    """Whose car it was, from when, until when."""

    customer = Opaque(Customer.PREFIX, source="customer_id")
    from_at = serializers.DateTimeField()
    until_at = serializers.DateTimeField(allow_null=True)


class VehicleAnswer(KeyedAnswer):
    """A vehicle as it is answered; whose it is, only to those who may see customers."""

    vin = serializers.CharField()
    plate = serializers.CharField()
    model_year = serializers.IntegerField(allow_null=True)
    description = serializers.CharField()
    customer = Opaque(Customer.PREFIX, source="customer_id", allow_null=True, required=False)
    ownerships = OwnershipAnswer(many=True, required=False)
    warnings = serializers.SerializerMethodField()

    def get_fields(self) -> dict[str, serializers.Field[Any, Any, Any, Any]]:
        fields = super().get_fields()
        actor = self.context.get("actor")
        if actor is not None and not may(actor.roles, "customers", write=False):
            for name in PERSONAL:
                del fields[name]
        return fields

    def get_warnings(self, row: Vehicle) -> list[str]:
        warning = vin_warning(row.vin)
        return [] if warning is None else [warning]


class VehicleQuery(Shape):
    """Which vehicles; a plate is found whatever its spaces and hyphens."""

    plate = Text(max_length=20, required=False)
    customer = QueryId(Customer.PREFIX, required=False)
    model_year = Whole(required=False)


def rows() -> QuerySet[Vehicle]:
    owned = Prefetch("ownerships", Ownership.objects.order_by("from_at"))
    return Vehicle.objects.select_related("client").prefetch_related(owned)


class Vehicles(CreateDoor):
    resource = "vehicles"
    entry = VehicleEntry
    answer = VehicleAnswer
    query = VehicleQuery
    orderings = ("-recorded_at", "recorded_at", "vin", "-vin")

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[Vehicle]:
        said = dict(asked)
        if "customer" in said and not may(self.actor.roles, "customers", write=False):
            raise NotAllowed.at(
                "", "no_customers", "Your role does not see customers; ask for cars by plate."
            )
        if "plate" in said:
            said["plate_key"] = search_key(said.pop("plate"))
        return rows().filter(**said)

    def write(self, entry: dict[str, Any], at: datetime) -> Outcome[Vehicle]:
        return vehicles.create_vehicle(by=self.actor, at=at, entry=entry)

    def address(self, row: Vehicle) -> str:
        return f"/api/v1/vehicles/{row.vin}/"


class OneVehicle(ChangeDoor):
    resource = "vehicles"
    answer = VehicleAnswer
    change = VehicleChange

    def find(self, **keys: Any) -> Vehicle:
        return names.keyed(rows(), vin=normalise_vin(keys["vin"]))

    def apply(self, changes: dict[str, Any], at: datetime, version: int) -> Vehicle:
        return vehicles.change_vehicle(
            self.row, by=self.actor, at=at, version=version, changes=changes
        )
