"""equipment/: what is measured and worked with, when it is due, and what each piece touched."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from urllib.parse import quote

from django.db.models import QuerySet
from rest_framework import serializers

from packs.api import voltage_checks
from packs.api.doors import ChangeDoor, CreateDoor, ListDoor
from packs.api.facts import asked_facts
from packs.api.fields import Choice, Code, Day, Text, optional
from packs.api.keyed import KeyedAnswer
from packs.api.shapes import Shape
from packs.models import Equipment, VoltageCheck
from packs.reads import names
from packs.writes import equipment
from packs.writes.recording import Outcome


class EquipmentChange(Shape):
    """What may change of a piece of equipment."""

    serial = optional(Text, max_length=60)
    rating = optional(Text, max_length=100)
    checked_on = optional(Day)
    due_on = optional(Day)


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


class EquipmentQuery(Shape):
    """Which equipment; `due_until` asks for what is due by a day."""

    kind = Choice(Equipment.Kinds.choices, required=False)
    due_until = Day(required=False)


def rows() -> QuerySet[Equipment]:
    return Equipment.objects.select_related("client")


class AllEquipment(CreateDoor):
    resource = "equipment"
    entry = EquipmentEntry
    answer = EquipmentAnswer
    query = EquipmentQuery
    orderings = ("code", "-code", "-recorded_at", "recorded_at")

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[Equipment]:
        columns = {"kind": "kind", "due_until": "due_on__lte"}
        return rows().filter(**{columns[name]: value for name, value in asked.items()})

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


class Touched(ListDoor):
    """The checks that name it: what to look at again when it proves bad."""

    resource = "equipment"
    answer = voltage_checks.CheckAnswer
    query = voltage_checks.CheckQuery
    orderings = voltage_checks.VoltageChecks.orderings
    shown = voltage_checks.VoltageChecks.shown
    row: Equipment

    def locate(self, **keys: Any) -> None:
        self.row = names.keyed(rows(), code=keys["code"])

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[VoltageCheck]:
        columns = voltage_checks.COLUMNS
        said = {columns[name]: value for name, value in asked.items() if name in columns}
        return asked_facts(voltage_checks.rows(), asked).filter(**said, equipment=self.row)
