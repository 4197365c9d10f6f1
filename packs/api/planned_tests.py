"""planned-tests/: what modules wait to be tested for, on which channel, and by when."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from django.utils import timezone
from rest_framework import serializers

from packs.api.doors import CreateDoor, OneDoor, VoidDoor
from packs.api.facts import FactAnswer, FactQuery, asked_facts
from packs.api.fields import Choice, Instant, Opaque, QueryId, Text, optional
from packs.api.shapes import FactShape, supersedes
from packs.models import ModuleTest, PlannedTest, Visit
from packs.reads import names
from packs.reads import planned_tests as reads
from packs.rules.bounds import CODE_LENGTH
from packs.writes import planned_tests
from packs.writes.recording import Outcome

CHANNEL_LENGTH = 40


class PlannedTestEntry(FactShape):
    """A test to come as it is sent; without `planned_at` it is planned now."""

    module = Text(max_length=CODE_LENGTH)
    kind = Choice(ModuleTest.Kinds.choices)
    due_at = Instant()
    planned_at = optional(Instant)
    channel = optional(Text, max_length=CHANNEL_LENGTH)
    equipment = optional(Text, max_length=CODE_LENGTH, min_length=1)
    visit = optional(Opaque, kind=Visit.PREFIX)
    note = optional(Text)
    supersedes = supersedes(PlannedTest.PREFIX)


class PlannedTestAnswer(FactAnswer):
    """A test to come; done when one of its kind of its module has begun since it was planned."""

    id = Opaque(PlannedTest.PREFIX, source="pk")
    module = serializers.CharField(source="module.tag")
    kind = serializers.ChoiceField(ModuleTest.Kinds.choices)
    planned_at = serializers.DateTimeField()
    due_at = serializers.DateTimeField()
    state = serializers.ChoiceField(reads.STATES)
    channel = serializers.CharField()
    equipment = serializers.CharField(source="equipment.code", allow_null=True, default=None)
    visit = Opaque(Visit.PREFIX, source="visit_id", allow_null=True)
    note = serializers.CharField()
    supersedes = Opaque(PlannedTest.PREFIX, source="supersedes_id", allow_null=True)


class PlannedTestQuery(FactQuery):
    """Which tests to come; `state` waiting, overdue or done."""

    module = Text(max_length=CODE_LENGTH, required=False)
    kind = Choice(ModuleTest.Kinds.choices, required=False)
    channel = Text(max_length=CHANNEL_LENGTH, required=False)
    state = Choice(reads.STATES, required=False)
    due_until = Instant(required=False)
    visit = QueryId(Visit.PREFIX, required=False)


COLUMNS = {
    "module": "module__tag",
    "kind": "kind",
    "channel": "channel",
    "state": "state",
    "due_until": "due_at__lte",
    "visit": "visit_id",
}


def rows() -> QuerySet[PlannedTest]:
    return reads.rows(at=timezone.now())


class PlannedTests(CreateDoor):
    resource = "planned-tests"
    entry = PlannedTestEntry
    answer = PlannedTestAnswer
    query = PlannedTestQuery
    orderings = ("due_at", "-due_at", "-recorded_at", "recorded_at")

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[PlannedTest]:
        columns = {COLUMNS[name]: value for name, value in asked.items() if name in COLUMNS}
        return asked_facts(rows(), asked).filter(**columns)

    def write(self, entry: dict[str, Any], at: datetime) -> Outcome[PlannedTest]:
        outcome = planned_tests.plan_test(by=self.actor, at=at, entry=entry)
        return Outcome(reads.rows(at=at).get(pk=outcome.row.pk), outcome.created)

    def address(self, row: PlannedTest) -> str:
        return f"/api/v1/planned-tests/{Opaque(PlannedTest.PREFIX).to_representation(row.pk)}/"


class OnePlannedTest(OneDoor):
    resource = "planned-tests"
    answer = PlannedTestAnswer

    def find(self, **keys: Any) -> PlannedTest:
        return names.addressed(asked_facts(rows(), {}), keys["id"])


class VoidPlannedTest(VoidDoor):
    answer = PlannedTestAnswer
    find = OnePlannedTest.find
