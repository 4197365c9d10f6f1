"""packs/: packs by their serial."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from packs.api.doors import ChangeDoor, CreateDoor
from packs.api.fields import Choice, Day, Instant, Serial, Text, optional
from packs.api.keyed import KeyedAnswer
from packs.api.shapes import Shape
from packs.models import Pack
from packs.reads import names
from packs.reads.packs import sitting_in, with_vehicle
from packs.rules.vehicles import normalise_vin
from packs.writes import packs
from packs.writes.recording import Outcome


class PackEntry(Shape):
    """A pack as it is sent."""

    serial = Serial()
    pack_type = Text(max_length=40)
    status = Choice(Pack.Status.choices, required=False)
    built_on = optional(Day)


class PackChange(Shape):
    """What may change of a pack."""

    status = Choice(Pack.Status.choices)


class PackAnswer(KeyedAnswer):
    """A pack as it is answered; `since` is the start of its present build."""

    serial = serializers.CharField()
    pack_type = serializers.CharField(source="pack_type.code")
    status = serializers.ChoiceField(Pack.Status.choices)
    built_on = serializers.DateField(allow_null=True)
    vehicle = serializers.CharField(source="vin", allow_null=True)
    revision = serializers.IntegerField()
    last_contact = serializers.DateTimeField(allow_null=True)
    since = serializers.DateTimeField(allow_null=True)


class PackQuery(Shape):
    """Which packs."""

    pack_type = Text(max_length=40, required=False)
    status = Choice(Pack.Status.choices, required=False)
    vehicle = Text(max_length=40, required=False)
    serial = Text(max_length=40, required=False, help_text="How the serial begins.")
    last_contact_since = Instant(required=False)
    last_contact_until = Instant(required=False)


COLUMNS = {
    "pack_type": "pack_type__code",
    "status": "status",
    "serial": "serial__istartswith",
    "last_contact_since": "last_contact__gte",
    "last_contact_until": "last_contact__lte",
}


def rows() -> QuerySet[Pack]:
    return with_vehicle().select_related("client", "pack_type")


class Packs(CreateDoor):
    resource = "packs"
    entry = PackEntry
    answer = PackAnswer
    query = PackQuery
    orderings = ("serial", "-serial", "-recorded_at", "recorded_at", "-settled_at", "settled_at")

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[Pack]:
        said = dict(asked)
        if "vehicle" in said:
            said["pk__in"] = sitting_in(normalise_vin(said.pop("vehicle")))
        return rows().filter(**{COLUMNS.get(name, name): value for name, value in said.items()})

    def write(self, entry: dict[str, Any], at: datetime) -> Outcome[Pack]:
        return packs.create_pack(by=self.actor, at=at, entry=entry)

    def address(self, row: Pack) -> str:
        return f"/api/v1/packs/{row.serial}/"


class OnePack(ChangeDoor):
    resource = "packs"
    answer = PackAnswer
    change = PackChange

    def find(self, **keys: Any) -> Pack:
        return names.keyed(rows(), serial__upper=keys["serial"].upper())

    def apply(self, changes: dict[str, Any], at: datetime, version: int) -> Pack:
        return packs.change_pack(self.row, by=self.actor, at=at, version=version, changes=changes)
