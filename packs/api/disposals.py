"""disposals/: modules and parts that went to a recycler, by weight; each leaves once."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from packs.api.doors import CreateDoor, OneDoor, VoidDoor
from packs.api.facts import FactAnswer, FactQuery, asked_facts
from packs.api.fields import Instant, Number, Opaque, Text, optional
from packs.api.shapes import FactShape, supersedes
from packs.models import Disposal
from packs.reads import names
from packs.writes import disposals
from packs.writes.recording import Outcome

WEIGHT_MAX_KG = 100_000  # more than any truck carries; common practice, no source
LINES_MAX = 5000  # as many as any list that is sent


class DisposalEntry(FactShape):
    """What leaves, as it is sent; without `at` it leaves now."""

    at = optional(Instant)
    recycler = Text(min_length=1, max_length=100)
    reference = optional(Text, max_length=100)
    weight_kg = Number(min_value=0.001, max_value=WEIGHT_MAX_KG)
    modules = serializers.ListField(child=Text(max_length=40), required=False, max_length=LINES_MAX)
    components = serializers.ListField(
        child=Text(max_length=60), required=False, max_length=LINES_MAX
    )
    note = optional(Text)
    supersedes = supersedes(Disposal.PREFIX)


class DisposalAnswer(FactAnswer):
    """What left, as it is answered."""

    id = Opaque(Disposal.PREFIX, source="pk")
    at = serializers.DateTimeField(source="happened_at")
    recycler = serializers.CharField()
    reference = serializers.CharField()
    weight_kg = serializers.FloatField()
    modules = serializers.SerializerMethodField()
    components = serializers.SerializerMethodField()
    note = serializers.CharField()
    supersedes = Opaque(Disposal.PREFIX, source="supersedes_id", allow_null=True)

    @extend_schema_field({"type": "array", "items": {"type": "string"}})
    def get_modules(self, row: Disposal) -> list[str]:
        return [line.module.tag for line in row.lines.all() if line.module is not None]

    @extend_schema_field({"type": "array", "items": {"type": "string"}})
    def get_components(self, row: Disposal) -> list[str]:
        return [line.component.tag for line in row.lines.all() if line.component is not None]


class DisposalQuery(FactQuery):
    """Which disposals; `module` and `component` find the one that a tag left with."""

    recycler = Text(max_length=100, required=False)
    reference = Text(max_length=100, required=False)
    module = Text(max_length=40, required=False)
    component = Text(max_length=60, required=False)
    since = Instant(required=False)
    until = Instant(required=False)


COLUMNS = {
    "recycler": "recycler",
    "reference": "reference",
    "module": "lines__module__tag",
    "component": "lines__component__tag",
    "since": "happened_at__gte",
    "until": "happened_at__lte",
}


def rows() -> QuerySet[Disposal]:
    return Disposal.objects.prefetch_related("lines__module", "lines__component")


class Disposals(CreateDoor):
    resource = "disposals"
    entry = DisposalEntry
    answer = DisposalAnswer
    query = DisposalQuery
    orderings = ("-at", "at", "-recorded_at", "recorded_at")
    ordering_columns = {"at": "happened_at"}

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[Disposal]:
        columns = {COLUMNS[name]: value for name, value in asked.items() if name in COLUMNS}
        return asked_facts(rows(), asked).filter(**columns)

    def write(self, entry: dict[str, Any], at: datetime) -> Outcome[Disposal]:
        return disposals.record_disposal(by=self.actor, at=at, entry=entry)

    def address(self, row: Disposal) -> str:
        return f"/api/v1/disposals/{Opaque(Disposal.PREFIX).to_representation(row.pk)}/"


class OneDisposal(OneDoor):
    resource = "disposals"
    answer = DisposalAnswer

    def find(self, **keys: Any) -> Disposal:
        return names.addressed(asked_facts(rows(), {}), keys["id"])


class VoidDisposal(VoidDoor):
    answer = DisposalAnswer
    find = OneDisposal.find
