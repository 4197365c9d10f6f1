"""inspections/: looks at a pack, with graded findings."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from packs.api.doors import CreateDoor, OneDoor, VoidDoor
from packs.api.facts import FactAnswer, FactQuery, asked_facts
from packs.api.fields import Choice, Instant, Opaque, QueryId, Text, Whole, optional
from packs.api.shapes import FactShape, Shape, supersedes
from packs.models import Finding, Inspection, Visit
from packs.reads import names
from packs.writes import inspections
from packs.writes.recording import Outcome

FINDINGS_MAX = 500  # in one inspection; common practice, no source
WORST_GRADE = 3


class GradedFindingEntry(Shape):
    """One thing found: grade 0 is good, 3 is for now."""

    part = Text(max_length=100, min_length=1)
    finding = Choice(Finding.Kinds.choices)
    grade = Whole(max_value=WORST_GRADE)
    position = optional(Whole)
    note = optional(Text)
    photo = optional(Text, max_length=200, min_length=1)


class InspectionEntry(FactShape):
    """An inspection as it is sent."""

    pack = Text(max_length=40)
    visit = optional(Opaque, kind=Visit.PREFIX)
    at = Instant()
    findings: Any = serializers.ListSerializer(child=GradedFindingEntry(), max_length=FINDINGS_MAX)
    action = optional(Text)
    supersedes = supersedes(Inspection.PREFIX)


class GradedFindingAnswer(serializers.Serializer[Any]):
    """One thing found."""

    part = serializers.CharField()
    finding = serializers.ChoiceField(Finding.Kinds.choices)
    grade = serializers.IntegerField()
    position = serializers.IntegerField(allow_null=True)
    note = serializers.CharField()
    photo = serializers.CharField(allow_null=True)


class InspectionAnswer(FactAnswer):
    """An inspection as it is answered."""

    id = Opaque(Inspection.PREFIX, source="pk")
    visit = Opaque(Visit.PREFIX, source="visit_id", allow_null=True)
    at = serializers.DateTimeField(source="happened_at")
    findings = serializers.SerializerMethodField()
    action = serializers.CharField()
    supersedes = Opaque(Inspection.PREFIX, source="supersedes_id", allow_null=True)

    @extend_schema_field(GradedFindingAnswer(many=True))
    def get_findings(self, inspection: Inspection) -> Any:
        in_order = sorted(inspection.findings.all(), key=lambda found: found.pk)
        return GradedFindingAnswer(in_order, many=True).data


class InspectionQuery(FactQuery):
    """Which inspections; `finding` and `min_grade` those with at least one such finding."""

    visit = QueryId(Visit.PREFIX, required=False)
    since = Instant(required=False)
    until = Instant(required=False)
    finding = Choice(Finding.Kinds.choices, required=False)
    min_grade = Whole(required=False)


COLUMNS = {"visit": "visit_id", "since": "happened_at__gte", "until": "happened_at__lte"}
OF_FINDINGS = {"finding": "finding", "min_grade": "grade__gte"}


def rows() -> QuerySet[Inspection]:
    return Inspection.objects.prefetch_related("findings")


class Inspections(CreateDoor):
    resource = "inspections"
    entry = InspectionEntry
    answer = InspectionAnswer
    query = InspectionQuery
    orderings = ("-at", "at", "-recorded_at", "recorded_at")
    ordering_columns = {"at": "happened_at"}

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[Inspection]:
        columns = {COLUMNS[name]: value for name, value in asked.items() if name in COLUMNS}
        found: QuerySet[Inspection] = asked_facts(rows(), asked).filter(**columns)
        wanted = {OF_FINDINGS[name]: asked[name] for name in OF_FINDINGS if name in asked}
        if not wanted:
            return found
        return found.filter(pk__in=Finding.objects.filter(**wanted).values("inspection"))

    def write(self, entry: dict[str, Any], at: datetime) -> Outcome[Inspection]:
        return inspections.record_inspection(by=self.actor, at=at, entry=entry)

    def address(self, row: Inspection) -> str:
        return f"/api/v1/inspections/{Opaque(Inspection.PREFIX).to_representation(row.pk)}/"


class OneInspection(OneDoor):
    resource = "inspections"
    answer = InspectionAnswer

    def find(self, **keys: Any) -> Inspection:
        found: QuerySet[Inspection] = asked_facts(rows(), {})
        return names.addressed(found, keys["id"])


class VoidInspection(VoidDoor):
    answer = InspectionAnswer
    find = OneInspection.find
