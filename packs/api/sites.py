"""sites/: workshop locations and how their pages show things."""

import json
from collections.abc import Mapping
from datetime import datetime
from typing import Any
from urllib.parse import quote

from django.core.validators import RegexValidator
from django.db.models import QuerySet
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from packs.api.doors import ChangeDoor, CreateDoor
from packs.api.fields import Choice, Code, Number, Text, optional
from packs.api.keyed import KeyedAnswer
from packs.api.shapes import Shape
from packs.models import Site
from packs.reads import names
from packs.writes import sites
from packs.writes.recording import Outcome

RULES_MAX = 16 * 1024  # bytes; a shop's own rules are a page of settings
CURRENCY = RegexValidator(r"^[A-Z]{3}\Z", "Three capital letters (ISO 4217).", "bad_currency")


@extend_schema_field(OpenApiTypes.OBJECT)
class Rules(serializers.Field[Any, Any, Any, Any]):
    """The shop's own rules: a JSON object of bounded size."""

    default_error_messages = {
        "not_an_object": "Not an object: send a JSON object of names and values.",
        "out_of_range": f"Larger than {RULES_MAX} bytes; leave out what is not needed.",
    }

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        if not isinstance(data, dict):
            self.fail("not_an_object")
        if len(json.dumps(data)) > RULES_MAX:
            self.fail("out_of_range")
        return data

    def to_representation(self, value: Any) -> Any:
        return value


class SiteChange(Shape):
    """What may change of a site."""

    name = Text(max_length=100)
    time_zone = Text(max_length=60)
    distance = optional(Choice, choices=["km", "mi"])
    temperature = optional(Choice, choices=["c", "f"])
    date_order = optional(Choice, choices=Site.DateOrder.choices)
    currency = optional(Text, max_length=3, validators=[CURRENCY])
    touch_limit_v = optional(Number)
    rules = Rules(required=False, allow_null=True)


class SiteEntry(SiteChange):
    """A site as it is sent."""

    code = Code()


class SiteAnswer(KeyedAnswer):
    """A site as it is answered."""

    code = serializers.CharField()
    name = serializers.CharField()
    time_zone = serializers.CharField()
    distance = serializers.CharField()
    temperature = serializers.CharField()
    date_order = serializers.ChoiceField(Site.DateOrder.choices)
    currency = serializers.CharField()
    touch_limit_v = serializers.FloatField()
    rules = Rules()


class Sites(CreateDoor):
    resource = "sites"
    entry = SiteEntry
    answer = SiteAnswer
    orderings = ("code", "-code", "-recorded_at", "recorded_at")

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[Site]:
        return Site.objects.select_related("client")

    def write(self, entry: dict[str, Any], at: datetime) -> Outcome[Site]:
        return sites.create_site(by=self.actor, at=at, entry=entry)

    def address(self, row: Site) -> str:
        return f"/api/v1/sites/{quote(row.code)}/"


class OneSite(ChangeDoor):
    resource = "sites"
    answer = SiteAnswer
    change = SiteChange

    def find(self, **keys: Any) -> Site:
        return names.keyed(Site.objects.select_related("client"), code=keys["code"])

    def apply(self, changes: dict[str, Any], at: datetime, version: int) -> Site:
        return sites.change_site(self.row, by=self.actor, at=at, version=version, changes=changes)
