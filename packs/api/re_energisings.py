"""re-energisings/: the service switch goes back in, and a lock-out ends."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from packs.api.doors import CreateDoor, OneDoor, VoidDoor
from packs.api.facts import FactAnswer, FactQuery, asked_facts
from packs.api.fields import Instant, Opaque, QueryId, Text, Truth, optional
from packs.api.shapes import FactShape, Shape, supersedes
from packs.models import LockOut, ReEnergising, Visit
from packs.reads import names
from packs.rules.bounds import CODE_LENGTH
from packs.writes import re_energisings
from packs.writes.recording import Outcome


class ClearedEntry(Shape):
    """What is confirmed before the switch goes in; left out: not confirmed."""

    tools_out = Truth(required=False)
    tools_counted = Truth(required=False)
    covers_on = Truth(required=False)
    everybody_clear = Truth(required=False)


class ReEnergisingEntry(FactShape):
    """A re-energising as it is sent; without `at` it was done now."""

    visit = Opaque(Visit.PREFIX)
    done_by = Text(max_length=CODE_LENGTH, min_length=1)
    at = optional(Instant)
    done = ClearedEntry(required=False)
    second_person = optional(Text, max_length=CODE_LENGTH, min_length=1)
    note = optional(Text)
    supersedes = supersedes(ReEnergising.PREFIX)


class ClearedAnswer(serializers.Serializer[Any]):
    """What was confirmed."""

    tools_out = serializers.BooleanField()
    tools_counted = serializers.BooleanField()
    covers_on = serializers.BooleanField()
    everybody_clear = serializers.BooleanField()


class ReEnergisingAnswer(FactAnswer):
    """A re-energising as it is answered, with the lock-out that it ended."""

    id = Opaque(ReEnergising.PREFIX, source="pk")
    visit = Opaque(Visit.PREFIX, source="visit_id")
    lock_out = Opaque(LockOut.PREFIX, source="lock_out_id")
    at = serializers.DateTimeField(source="happened_at")
    done = ClearedAnswer()
    second_person = serializers.CharField(source="second_person.code", allow_null=True)
    warnings = serializers.SerializerMethodField()
    note = serializers.CharField()
    supersedes = Opaque(ReEnergising.PREFIX, source="supersedes_id", allow_null=True)

    def get_warnings(self, row: ReEnergising) -> list[str]:
        told: list[str] = row.done.get("warnings", [])
        return told


class ReEnergisingQuery(FactQuery):
    """Which re-energisings."""

    visit = QueryId(Visit.PREFIX, required=False)
    lock_out = QueryId(LockOut.PREFIX, required=False)
    since = Instant(required=False)
    until = Instant(required=False)


COLUMNS = {
    "visit": "visit_id",
    "lock_out": "lock_out_id",
    "since": "happened_at__gte",
    "until": "happened_at__lte",
}


def rows() -> QuerySet[ReEnergising]:
    return ReEnergising.objects.select_related("second_person")


class ReEnergisings(CreateDoor):
    resource = "re-energisings"
    entry = ReEnergisingEntry
    answer = ReEnergisingAnswer
    query = ReEnergisingQuery
    orderings = ("-at", "at", "-recorded_at", "recorded_at")
    ordering_columns = {"at": "happened_at"}

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[ReEnergising]:
        columns = {COLUMNS[name]: value for name, value in asked.items() if name in COLUMNS}
        return asked_facts(rows(), asked).filter(**columns)

    def write(self, entry: dict[str, Any], at: datetime) -> Outcome[ReEnergising]:
        return re_energisings.record_re_energising(by=self.actor, at=at, entry=entry)

    def address(self, row: ReEnergising) -> str:
        return f"/api/v1/re-energisings/{Opaque(ReEnergising.PREFIX).to_representation(row.pk)}/"


class OneReEnergising(OneDoor):
    resource = "re-energisings"
    answer = ReEnergisingAnswer

    def find(self, **keys: Any) -> ReEnergising:
        return names.addressed(asked_facts(rows(), {}), keys["id"])


class VoidReEnergising(VoidDoor):
    answer = ReEnergisingAnswer
    find = OneReEnergising.find
