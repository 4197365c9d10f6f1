"""equipment/: what is measured and worked with, when it is due, and since when it is bad."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from urllib.parse import quote

from django.db.models import QuerySet
from rest_framework import serializers

from packs.api.doors import ChangeDoor, CreateDoor
from packs.api.fields import Choice, Code, Day, Text, Truth, optional
from packs.api.keyed import KeyedAnswer
from packs.api.shapes import Shape
from packs.models import Equipment
from packs.reads import names
from packs.writes import equipment
from packs.writes.recording import Outcome


class EquipmentChange(Shape):
    """What may change of a piece of equipment."""

    serial = optional(Text, max_length=60)
    rating = optional(Text, max_length=100)
    checked_on = optional(Day)
    due_on = optional(Day)
    issued_on = optional(Day)
    bad_since = optional(Day)


class EquipmentEntry(EquipmentChange):
    """A piece of equipment as it is sent."""

    code = Code()
    kind = Choice(Equipment.Kinds.choices)


class EquipmentAnswer(KeyedAnswer):
    """A piece of equipment as it is answered."""

    code = serializers.CharField()
    kind = serializers.ChoiceField(Equipment.Kinds.choices)
    serial = serializers.CharField()
    rating = serializers.CharField()
    checked_on = serializers.DateField(allow_null=True)
    due_on = serializers.DateField(allow_null=True)
    issued_on = serializers.DateField(allow_null=True)
    bad_since = serializers.DateField(allow_null=True)


class EquipmentQuery(Shape):
    """Which equipment; `due_until` asks for what is due by a day, `bad` for what is bad or not."""

    kind = Choice(Equipment.Kinds.choices, required=False)
    due_until = Day(required=False)
    bad = Truth(required=False)


COLUMNS = {"kind": "kind", "due_until": "due_on__lte"}


def rows() -> QuerySet[Equipment]:
    return Equipment.objects.select_related("client")


class AllEquipment(CreateDoor):
    resource = "equipment"
    entry = EquipmentEntry
    answer = EquipmentAnswer
    query = EquipmentQuery
    orderings = ("code", "-code", "-recorded_at", "recorded_at")

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[Equipment]:
        found = rows().filter(
            **{COLUMNS[name]: value for name, value in asked.items() if name in COLUMNS}
        )
        if "bad" in asked:
            found = found.filter(bad_since__isnull=not asked["bad"])
        return found

    def write(self, entry: dict[str, Any], at: datetime) -> Outcome[Equipment]:
        return equipment.create_equipment(by=self.actor, at=at, entry=entry)

    def address(self, row: Equipment) -> str:
        return f"/api/v1/equipment/{quote(row.code)}/"


class OneEquipment(ChangeDoor):
    resource = "equipment"
    answer = EquipmentAnswer
    change = EquipmentChange

    def find(self, **keys: Any) -> Equipment:
        return names.keyed(rows(), code=keys["code"])

    def apply(self, changes: dict[str, Any], at: datetime, version: int) -> Equipment:
        return equipment.change_equipment(
            self.row, by=self.actor, at=at, version=version, changes=changes
        )
