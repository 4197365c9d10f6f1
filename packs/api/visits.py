"""visits/: one time that a pack or a car is in the shop."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from packs.api.doors import ChangeDoor, CreateDoor
from packs.api.fields import Choice, ExternalId, Instant, Opaque, Text, Whole, optional
from packs.api.keyed import KeyedAnswer
from packs.api.shapes import Shape
from packs.models import Visit
from packs.reads import names
from packs.rules.bounds import FARTHEST_KM
from packs.rules.vehicles import normalise_vin
from packs.writes import visits
from packs.writes.recording import Outcome


class VisitChange(Shape):
    """What may change of a visit."""

    state = Choice(Visit.State.choices, required=False)
    complaint = optional(Text)
    odometer_km = optional(Whole, max_value=FARTHEST_KM)
    waits_for = optional(Choice, choices=Visit.WaitsFor.choices)
    promised_at = optional(Instant)


class VisitEntry(VisitChange):
    """A visit as it is sent."""

    vehicle = optional(Text, max_length=40, min_length=1)
    pack = optional(Text, max_length=40, min_length=1)
    opened_at = optional(Instant)
    site = optional(Text, max_length=40, min_length=1)
    external_id = ExternalId()


class VisitAnswer(KeyedAnswer):
    """A visit as it is answered."""

    id = Opaque(Visit.PREFIX, source="pk")
    vehicle = serializers.CharField(source="vehicle.vin", allow_null=True, default=None)
    pack = serializers.CharField(source="pack.serial", allow_null=True, default=None)
    opened_at = serializers.DateTimeField()
    complaint = serializers.CharField()
    odometer_km = serializers.IntegerField(allow_null=True)
    state = serializers.ChoiceField(Visit.State.choices)
    waits_for = serializers.SerializerMethodField()
    promised_at = serializers.DateTimeField(allow_null=True)
    site = serializers.CharField(source="site.code", allow_null=True, default=None)
    external_id = serializers.CharField(allow_null=True)
    revision = serializers.IntegerField(allow_null=True)

    @extend_schema_field(serializers.ChoiceField(Visit.WaitsFor.choices, allow_null=True))
    def get_waits_for(self, visit: Visit) -> str | None:
        return visit.waits_for or None


class VisitQuery(Shape):
    """Which visits."""

    pack = Text(max_length=40, required=False)
    vehicle = Text(max_length=40, required=False)
    state = Choice(Visit.State.choices, required=False)
    waits_for = Choice(Visit.WaitsFor.choices, required=False)
    promised_until = Instant(required=False)
    opened_since = Instant(required=False)
    opened_until = Instant(required=False)
    site = Text(max_length=40, required=False)
    external_id = Text(max_length=200, required=False)


COLUMNS = {
    "pack": "pack__serial__upper",
    "vehicle": "vehicle__vin",
    "state": "state",
    "waits_for": "waits_for",
    "promised_until": "promised_at__lte",
    "opened_since": "opened_at__gte",
    "opened_until": "opened_at__lte",
    "site": "site__code",
    "external_id": "external_id",
}


def rows() -> QuerySet[Visit]:
    return Visit.objects.select_related("vehicle", "pack", "site", "client")


class Visits(CreateDoor):
    resource = "visits"
    entry = VisitEntry
    answer = VisitAnswer
    query = VisitQuery
    orderings = ("-opened_at", "opened_at", "-recorded_at", "recorded_at")

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[Visit]:
        said = dict(asked)
        for name, form in (("pack", str.upper), ("vehicle", normalise_vin)):
            if name in said:
                said[name] = form(said[name])
        return rows().filter(**{COLUMNS[name]: value for name, value in said.items()})

    def write(self, entry: dict[str, Any], at: datetime) -> Outcome[Visit]:
        return visits.open_visit(by=self.actor, at=at, entry=entry)

    def address(self, row: Visit) -> str:
        return f"/api/v1/visits/{Opaque(Visit.PREFIX).to_representation(row.pk)}/"


class OneVisit(ChangeDoor):
    resource = "visits"
    answer = VisitAnswer
    change = VisitChange

    def find(self, **keys: Any) -> Visit:
        return names.addressed(rows(), keys["id"])

    def apply(self, changes: dict[str, Any], at: datetime, version: int) -> Visit:
        return visits.change_visit(self.row, by=self.actor, at=at, version=version, changes=changes)
