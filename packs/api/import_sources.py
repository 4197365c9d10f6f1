"""import-sources/: how testers name the columns of their files."""

import json
from collections.abc import Mapping
from datetime import datetime
from typing import Any
from urllib.parse import quote

from django.db.models import QuerySet
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from packs.api.doors import ChangeDoor, CreateDoor
from packs.api.fields import Code, Text, optional
from packs.api.keyed import KeyedAnswer
from packs.api.shapes import Shape
from packs.models import ImportSource
from packs.reads import names
from packs.writes import import_sources
from packs.writes.recording import Outcome

SAID_MAX = 128 * 1024  # bytes; a list of 2,000 headers takes 60 kB


@extend_schema_field(OpenApiTypes.OBJECT)
class Said(serializers.Field[Any, Any, Any, Any]):
    """A JSON object of bounded size; which names it may hold is judged below."""

    default_error_messages = {
        "not_an_object": "Not an object: send a JSON object of names and values.",
        "out_of_range": f"Larger than {SAID_MAX} bytes; leave out what is not needed.",
    }

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        if not isinstance(data, dict):
            self.fail("not_an_object")
        if len(json.dumps(data)) > SAID_MAX:
            self.fail("out_of_range")
        return data

    def to_representation(self, value: Any) -> Any:
        return value


class ImportSourceChange(Shape):
    """What may change of a source; `columns` are headers by our fields' names."""

    name = optional(Text, max_length=100)
    columns = Said()
    settings = Said(required=False, allow_null=True)


class ImportSourceEntry(ImportSourceChange):
    """A source as it is sent."""

    code = Code()


class ImportSourceAnswer(KeyedAnswer):
    """A source as it is answered."""

    code = serializers.CharField()
    name = serializers.CharField()
    columns = Said()
    settings = Said()


def rows() -> QuerySet[ImportSource]:
    return ImportSource.objects.select_related("client")


class ImportSources(CreateDoor):
    resource = "import-sources"
    entry = ImportSourceEntry
    answer = ImportSourceAnswer
    orderings = ("code", "-code", "-recorded_at", "recorded_at")

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[ImportSource]:
        return rows()

    def write(self, entry: dict[str, Any], at: datetime) -> Outcome[ImportSource]:
        return import_sources.keep_source(by=self.actor, at=at, entry=entry)

    def address(self, row: ImportSource) -> str:
        return f"/api/v1/import-sources/{quote(row.code)}/"


class OneImportSource(ChangeDoor):
    resource = "import-sources"
    answer = ImportSourceAnswer
    change = ImportSourceChange

    def find(self, **keys: Any) -> ImportSource:
        return names.keyed(rows(), code=keys["code"])

    def apply(self, changes: dict[str, Any], at: datetime, version: int) -> ImportSource:
        return import_sources.change_source(
            self.row, by=self.actor, at=at, version=version, changes=changes
        )
