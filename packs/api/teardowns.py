"""teardowns/: what was taken out of a pack, how it lay, and its fasteners."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from packs.api.doors import CreateDoor, OneDoor, VoidDoor
from packs.api.facts import asked_facts
from packs.api.fields import Choice, Opaque, Text, Whole
from packs.api.layouts import NAME_MAX, ROWS_MAX
from packs.api.opening_steps import StepAnswer, StepEntry, StepQuery, columns_of
from packs.api.shapes import Shape, supersedes
from packs.models import Part, Teardown
from packs.reads import names
from packs.rules.ways_round import seen_otherwise
from packs.writes import teardowns
from packs.writes.recording import Outcome

PAINT = (("intact", "Intact"), ("broken", "Broken"), ("none", "None"))


class OutShape(Shape):
    """Fasteners of one kind that came out, and how their paint mark was found."""

    kind = Text(max_length=NAME_MAX, min_length=1)
    count = Whole(min_value=1, max_value=ROWS_MAX)
    torque_paint = Choice(PAINT, required=False)


class TeardownEntry(StepEntry):
    """What was taken out, as it is sent."""

    part = Choice(Part.choices)
    fasteners: Any = serializers.ListSerializer(
        child=OutShape(), required=False, max_length=ROWS_MAX
    )
    supersedes = supersedes(Teardown.PREFIX)


class TeardownAnswer(StepAnswer):
    """What was taken out, as it is answered."""

    id = Opaque(Teardown.PREFIX, source="pk")
    fasteners = OutShape(many=True)
    warnings = serializers.SerializerMethodField()
    supersedes = Opaque(Teardown.PREFIX, source="supersedes_id", allow_null=True)

    def get_warnings(self, row: Teardown) -> list[str]:
        """Positions seen another way round than the type says."""
        assert row.visit.pack is not None
        return list(seen_otherwise(row.visit.pack.pack_type.layout, row.seen))


def rows() -> QuerySet[Teardown]:
    return Teardown.objects.select_related("visit__pack__pack_type", "visit__site")


class Teardowns(CreateDoor):
    resource = "teardowns"
    entry = TeardownEntry
    answer = TeardownAnswer
    query = StepQuery
    orderings = ("-at", "at", "-recorded_at", "recorded_at")
    ordering_columns = {"at": "happened_at"}

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[Teardown]:
        found: QuerySet[Teardown] = asked_facts(rows(), asked)
        return found.filter(**columns_of(asked))

    def write(self, entry: dict[str, Any], at: datetime) -> Outcome[Teardown]:
        return teardowns.record_teardown(by=self.actor, at=at, entry=entry)

    def address(self, row: Teardown) -> str:
        return f"/api/v1/teardowns/{Opaque(Teardown.PREFIX).to_representation(row.pk)}/"


class OneTeardown(OneDoor):
    resource = "teardowns"
    answer = TeardownAnswer

    def find(self, **keys: Any) -> Teardown:
        found: QuerySet[Teardown] = asked_facts(rows(), {})
        return names.addressed(found, keys["id"])


class VoidTeardown(VoidDoor):
    answer = TeardownAnswer
    find = OneTeardown.find
