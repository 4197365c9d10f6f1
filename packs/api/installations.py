"""installations/: when a pack sat in which car."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db.models import Q, QuerySet
from rest_framework import serializers

from packs.api.doors import CreateDoor, OneDoor, VoidDoor
from packs.api.facts import FactAnswer, FactQuery, asked_facts
from packs.api.fields import Instant, Opaque, Text, Truth, Whole, optional
from packs.api.shapes import FactShape, supersedes
from packs.models import Installation
from packs.reads import names
from packs.rules.bounds import FARTHEST_KM
from packs.rules.vehicles import normalise_vin
from packs.writes import installations
from packs.writes.recording import Outcome


class InstallationEntry(FactShape):
    """An installation as it is sent; once the pack is out, the whole of it again."""

    pack = Text(max_length=40)
    vehicle = Text(max_length=40)
    installed_at = Instant()
    installed_km = optional(Whole, max_value=FARTHEST_KM)
    removed_at = optional(Instant)
    removed_km = optional(Whole, max_value=FARTHEST_KM)
    supersedes = supersedes(Installation.PREFIX)


class InstallationAnswer(FactAnswer):
    """An installation as it is answered."""

    id = Opaque(Installation.PREFIX, source="pk")
    vehicle = serializers.CharField(source="vehicle.vin")
    installed_at = serializers.DateTimeField()
    installed_km = serializers.IntegerField(allow_null=True)
    removed_at = serializers.DateTimeField(allow_null=True)
    removed_km = serializers.IntegerField(allow_null=True)
    supersedes = Opaque(Installation.PREFIX, source="supersedes_id", allow_null=True)


class InstallationQuery(FactQuery):
    """Which installations; `at` asks for those that held at an instant."""

    vehicle = Text(max_length=40, required=False)
    at = Instant(required=False)
    present = Truth(required=False)


def rows() -> QuerySet[Installation]:
    return Installation.objects.select_related("vehicle")


class Installations(CreateDoor):
    resource = "installations"
    entry = InstallationEntry
    answer = InstallationAnswer
    query = InstallationQuery
    orderings = ("-installed_at", "installed_at", "-recorded_at", "recorded_at")

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[Installation]:
        found = asked_facts(rows(), asked)
        if "vehicle" in asked:
            found = found.filter(vehicle__vin=normalise_vin(asked["vehicle"]))
        if "at" in asked:
            after = Q(removed_at__isnull=True) | Q(removed_at__gt=asked["at"])
            found = found.filter(after, installed_at__lte=asked["at"], voided_at__isnull=True)
        if "present" in asked:
            present = Q(removed_at__isnull=True, voided_at__isnull=True)
            found = found.filter(present if asked["present"] else ~present)
        return found

    def write(self, entry: dict[str, Any], at: datetime) -> Outcome[Installation]:
        return installations.record_installation(by=self.actor, at=at, entry=entry)

    def address(self, row: Installation) -> str:
        return f"/api/v1/installations/{Opaque(Installation.PREFIX).to_representation(row.pk)}/"


class OneInstallation(OneDoor):
    resource = "installations"
    answer = InstallationAnswer

    def find(self, **keys: Any) -> Installation:
        return names.addressed(asked_facts(rows(), {}), keys["id"])


class VoidInstallation(VoidDoor):
    answer = InstallationAnswer
    find = OneInstallation.find
