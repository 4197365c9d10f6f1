"""lots/: modules bought together."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from urllib.parse import quote

from django.db.models import QuerySet
from rest_framework import serializers

from packs.api.doors import CreateDoor, OneDoor
from packs.api.fields import Code, Day, Money, Text, Whole, optional
from packs.api.keyed import KeyedAnswer
from packs.api.shapes import Shape
from packs.models import Lot
from packs.reads import names
from packs.writes import modules
from packs.writes.recording import Outcome


class LotEntry(Shape):
    """A lot as it is sent."""

    code = Code()
    supplier = optional(Text, max_length=100)
    received_on = optional(Day)
    unit_cost = optional(Money)
    count = optional(Whole)
    origin_note = optional(Text)
    climate = optional(Text, max_length=100)


class LotAnswer(KeyedAnswer):
    """A lot as it is answered."""

    code = serializers.CharField()
    supplier = serializers.CharField()
    received_on = serializers.DateField(allow_null=True)
    unit_cost = Money(allow_null=True)
    count = serializers.IntegerField(allow_null=True)
    origin_note = serializers.CharField()
    climate = serializers.CharField()


class LotQuery(Shape):
    """Which lots."""

    supplier = Text(max_length=100, required=False)
    received_since = Day(required=False)
    received_until = Day(required=False)


COLUMNS = {
    "supplier": "supplier",
    "received_since": "received_on__gte",
    "received_until": "received_on__lte",
}


class Lots(CreateDoor):
    resource = "lots"
    entry = LotEntry
    answer = LotAnswer
    query = LotQuery
    orderings = ("code", "-code", "-recorded_at", "recorded_at")

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[Lot]:
        columns = {COLUMNS[name]: value for name, value in asked.items()}
        return Lot.objects.select_related("client").filter(**columns)

    def write(self, entry: dict[str, Any], at: datetime) -> Outcome[Lot]:
        return modules.create_lot(by=self.actor, at=at, entry=entry)

    def address(self, row: Lot) -> str:
        return f"/api/v1/lots/{quote(row.code)}/"


class OneLot(OneDoor):
    resource = "lots"
    answer = LotAnswer

    def find(self, **keys: Any) -> Lot:
        return names.keyed(Lot.objects.select_related("client"), code=keys["code"])
