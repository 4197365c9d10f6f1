"""prices/: the shop's own list of what parts and work cost, and of the hours they take."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from urllib.parse import quote

from django.db.models import QuerySet
from rest_framework import serializers

from packs.api.doors import ChangeDoor, CreateDoor
from packs.api.fields import Choice, Code, Money, Text, optional
from packs.api.keyed import KeyedAnswer
from packs.api.shapes import Shape
from packs.models import Component, PriceItem
from packs.reads import names
from packs.reads.prices import rows
from packs.writes import prices
from packs.writes.recording import Outcome

HOURS_MAX = 1000  # of one piece of work; common practice, no source


class PriceChange(Shape):
    """What may change of a line of the list."""

    what = Text(max_length=200, min_length=1)
    price = Money()
    hours = Money(required=False, max_value=HOURS_MAX)


class PriceEntry(PriceChange):
    """A line of the list as it is sent. The price of a module is that of one; hours are those of
    the whole piece of work, however many modules it takes."""

    code = Code()
    kind = Choice(PriceItem.Kinds.choices)
    pack_type = optional(Text, max_length=40, min_length=1)
    component_kind = Choice(Component.Kinds.choices, required=False, allow_null=True)
    site = optional(Text, max_length=40, min_length=1)


class PriceAnswer(KeyedAnswer):
    """A line of the list as it is answered."""

    code = serializers.CharField()
    what = serializers.CharField()
    kind = serializers.ChoiceField(PriceItem.Kinds.choices)
    pack_type = serializers.CharField(source="pack_type.code", allow_null=True, default=None)
    component_kind = serializers.CharField()
    price = Money()
    hours = Money()
    site = serializers.CharField(source="site.code", allow_null=True, default=None)


class PriceQuery(Shape):
    """Which lines."""

    kind = Choice(PriceItem.Kinds.choices, required=False)
    pack_type = Text(max_length=40, required=False)
    component_kind = Choice(Component.Kinds.choices, required=False)


COLUMNS = {
    "kind": "kind",
    "pack_type": "pack_type__code",
    "component_kind": "component_kind",
}


class Prices(CreateDoor):
    resource = "prices"
    entry = PriceEntry
    answer = PriceAnswer
    query = PriceQuery
    orderings = ("code", "-code", "-recorded_at", "recorded_at")

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[PriceItem]:
        return rows().filter(**{COLUMNS[name]: value for name, value in asked.items()})

    def write(self, entry: dict[str, Any], at: datetime) -> Outcome[PriceItem]:
        return prices.create_price(by=self.actor, at=at, entry=entry)

    def address(self, row: PriceItem) -> str:
        return f"/api/v1/prices/{quote(row.code)}/"


class OnePrice(ChangeDoor):
    resource = "prices"
    answer = PriceAnswer
    change = PriceChange

    def find(self, **keys: Any) -> PriceItem:
        return names.keyed(rows(), code=keys["code"])

    def apply(self, changes: dict[str, Any], at: datetime, version: int) -> PriceItem:
        return prices.change_price(self.row, by=self.actor, at=at, version=version, changes=changes)
