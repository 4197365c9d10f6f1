"""What every fact is answered with, and asked for by."""

from collections.abc import Mapping
from typing import Any, TypeVar

from django.db.models import Model, QuerySet
from rest_framework import serializers

from packs.api.fields import Instant, Text, Truth
from packs.api.shapes import Shape
from packs.writes.checks import LINE_MARK

ModelT = TypeVar("ModelT", bound=Model)


class SentId(serializers.CharField):
    """The sender's own name for it; null where the service named a line of a stream."""

    def to_representation(self, value: Any) -> Any:
        return None if value.startswith(LINE_MARK) else value


class FactAnswer(serializers.Serializer[Any]):
    """When it was learnt, from whom, which revision it made, and whether it still counts."""

    pack = serializers.CharField(source="pack.serial", allow_null=True, default=None)
    recorded_at = serializers.DateTimeField()
    revision = serializers.IntegerField(allow_null=True)
    client = serializers.CharField(source="client.name")
    recorded_by = serializers.CharField(source="recorded_by.code", allow_null=True, default=None)
    done_by = serializers.CharField(source="done_by.code", allow_null=True, default=None)
    external_id = SentId(allow_null=True)
    voided_at = serializers.DateTimeField(allow_null=True)
    void_reason = serializers.CharField()


class FactQuery(Shape):
    """Which facts: of a pack, recorded when, voided ones too or not."""

    pack = Text(max_length=40, required=False)
    recorded_since = Instant(required=False)
    recorded_until = Instant(required=False)
    external_id = Text(required=False)
    voided = Truth(required=False, allow_null=True, default=None)


def asked_facts(rows: QuerySet[ModelT], asked: Mapping[str, Any]) -> QuerySet[ModelT]:
    """Facts by the fields of FactQuery; both the voided and the others unless asked."""
    rows = rows.select_related("pack", "client", "recorded_by", "done_by")
    if asked.get("pack"):
        rows = rows.filter(pack__serial__upper=asked["pack"].upper())
    columns = {
        "recorded_since": "recorded_at__gte",
        "recorded_until": "recorded_at__lte",
        "external_id": "external_id",
    }
    rows = rows.filter(**{column: asked[name] for name, column in columns.items() if name in asked})
    if asked.get("voided") is not None:
        rows = rows.filter(voided_at__isnull=not asked["voided"])
    return rows
