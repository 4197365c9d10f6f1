"""reassemblies/: what went back into a pack, and what was measured before it was joined."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from packs.api.doors import CreateDoor, OneDoor, VoidDoor
from packs.api.facts import asked_facts
from packs.api.fields import Choice, Number, Opaque, Text, Truth, Whole, optional
from packs.api.layouts import NAME_MAX, ROWS_MAX, TORQUE_MAX_NM
from packs.api.opening_steps import StepAnswer, StepEntry, StepQuery, columns_of
from packs.api.shapes import Shape, supersedes
from packs.models import Part, Reassembly
from packs.reads import names
from packs.reads.openings import Half
from packs.rules.bounds import CODE_LENGTH, CURRENT_MAX_A, VOLTS_MAX
from packs.writes import reassemblies
from packs.writes.recording import Outcome

HALVES = ((1, "From the positive end"), (2, "To the negative end"))


class BackShape(Shape):
    """Fasteners of one kind that went back, and how they were tightened."""

    kind = Text(max_length=NAME_MAX, min_length=1)
    count = Whole(min_value=1, max_value=ROWS_MAX)
    torque_nm = optional(Number, min_value=0.01, max_value=TORQUE_MAX_NM)
    tool = optional(Text, max_length=CODE_LENGTH)
    order = optional(Text, max_length=200)
    paint = Truth(required=False)


class ReadingShape(Shape):
    """The rest voltage of one position, with its sign."""

    position = Whole(min_value=1)
    rest_v = Number(min_value=-VOLTS_MAX, max_value=VOLTS_MAX)


class ReassemblyEntry(StepEntry):
    """A step of the reassembly as it is sent; each kind has its own fields."""

    kind = Choice(Reassembly.Kinds.choices)
    part = Choice(Part.choices, required=False)
    fasteners: Any = serializers.ListSerializer(
        child=BackShape(), required=False, max_length=ROWS_MAX
    )
    readings: Any = serializers.ListSerializer(
        child=ReadingShape(), required=False, max_length=ROWS_MAX
    )
    half = optional(Whole, min_value=1, max_value=2)
    half_v = optional(Number, min_value=-VOLTS_MAX, max_value=VOLTS_MAX)
    current_a = optional(Number, min_value=0, max_value=CURRENT_MAX_A)
    meter = optional(Text, max_length=CODE_LENGTH, min_length=1)
    supersedes = supersedes(Reassembly.PREFIX)


class HalfVerdictAnswer(serializers.Serializer[Any]):
    """A half against the sum of its modules, as the visit stands now."""

    kind = serializers.CharField(source="verdict.kind", allow_null=True, default=None)
    sum_v = serializers.FloatField(source="verdict.sum_v", allow_null=True, default=None)
    measured_v = serializers.FloatField(source="verdict.measured_v", allow_null=True, default=None)
    tolerance_v = serializers.FloatField(
        source="verdict.tolerance_v", allow_null=True, default=None
    )
    positions = serializers.ListField(source="verdict.fits", default=list)
    joint_mohm = serializers.FloatField(source="verdict.joint_mohm", allow_null=True, default=None)
    heat_w = serializers.FloatField(source="verdict.heat_w", allow_null=True, default=None)
    said = serializers.CharField()


class ReassemblyAnswer(StepAnswer):
    """A step as it is answered; `starts_build` says that the pack's trend begins anew with it."""

    id = Opaque(Reassembly.PREFIX, source="pk")
    kind = serializers.ChoiceField(Reassembly.Kinds.choices)
    fasteners = BackShape(many=True)
    readings = ReadingShape(many=True)
    half = serializers.IntegerField(allow_null=True)
    half_v = serializers.FloatField(allow_null=True)
    current_a = serializers.FloatField(allow_null=True)
    meter = serializers.CharField(source="meter.code", allow_null=True, default=None)
    warnings = serializers.SerializerMethodField()
    starts_build = serializers.BooleanField()
    verdict = serializers.SerializerMethodField()
    supersedes = Opaque(Reassembly.PREFIX, source="supersedes_id", allow_null=True)

    @extend_schema_field(HalfVerdictAnswer(allow_null=True))
    def get_verdict(self, row: Reassembly) -> Any:
        """Of a measured half: what it shows; None for other steps and for one that was voided."""
        half = self._half(row)
        return None if half is None else HalfVerdictAnswer(half).data

    def get_warnings(self, row: Reassembly) -> list[str]:
        """What was told when it was recorded; of a half that does not agree, what to do now."""
        half = self._half(row)
        return list(row.warnings) + ([] if half is None or half.agrees else [half.said])

    def _half(self, row: Reassembly) -> Half | None:
        if row.half is None or row.voided_at is not None:
            return None
        halves = self.opening_of(row).halves
        return next((half for half in halves if half.number == row.half), None)


class ReassemblyQuery(StepQuery):
    """Which steps."""

    kind = Choice(Reassembly.Kinds.choices, required=False)


def rows() -> QuerySet[Reassembly]:
    return Reassembly.objects.select_related("visit__pack__pack_type", "visit__site", "meter")


class Reassemblies(CreateDoor):
    resource = "reassemblies"
    entry = ReassemblyEntry
    answer = ReassemblyAnswer
    query = ReassemblyQuery
    orderings = ("-at", "at", "-recorded_at", "recorded_at")
    ordering_columns = {"at": "happened_at"}

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[Reassembly]:
        found: QuerySet[Reassembly] = asked_facts(rows(), asked)
        return found.filter(**columns_of(asked))

    def write(self, entry: dict[str, Any], at: datetime) -> Outcome[Reassembly]:
        return reassemblies.record_reassembly(by=self.actor, at=at, entry=entry)

    def address(self, row: Reassembly) -> str:
        return f"/api/v1/reassemblies/{Opaque(Reassembly.PREFIX).to_representation(row.pk)}/"


class OneReassembly(OneDoor):
    resource = "reassemblies"
    answer = ReassemblyAnswer

    def find(self, **keys: Any) -> Reassembly:
        found: QuerySet[Reassembly] = asked_facts(rows(), {})
        return names.addressed(found, keys["id"])


class VoidReassembly(VoidDoor):
    answer = ReassemblyAnswer
    find = OneReassembly.find
