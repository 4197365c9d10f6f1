"""inspections/: looks at a pack, with graded findings."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db.models import QuerySet
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


class FindingEntry(Shape):
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
    findings = serializers.ListSerializer(child=FindingEntry(), max_length=FINDINGS_MAX)
    action = optional(Text)
    supersedes = supersedes(Inspection.PREFIX)


class FindingAnswer(serializers.Serializer[Any]):
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
    findings = FindingAnswer(many=True, source="in_order")
    action = serializers.CharField()
    supersedes = Opaque(Inspection.PREFIX, source="supersedes_id", allow_null=True)
