"""failures/: what the car or the bench said of a pack that would no longer do."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from packs.api.doors import CreateDoor, OneDoor, VoidDoor
from packs.api.facts import FactAnswer, FactQuery, asked_facts
from packs.api.fields import Choice, Day, Opaque, Text
from packs.api.shapes import FactShape, supersedes
from packs.models import Failure, Visit
from packs.reads import names
from packs.writes import failures
from packs.writes.recording import Outcome


class FailureEntry(FactShape):
    """A failure as it is sent."""

    pack = Text(max_length=40)
    failed_on = Day()
    cause = Choice(Failure.Cause.choices)
    how_known = Choice(Failure.HowKnown.choices)
    visit = Opaque(Visit.PREFIX, required=False, allow_null=True)
    supersedes = supersedes(Failure.PREFIX)


class FailureAnswer(FactAnswer):
    """A failure as it is answered."""

    id = Opaque(Failure.PREFIX, source="pk")
    failed_on = serializers.DateField()
    cause = serializers.ChoiceField(Failure.Cause.choices)
    how_known = serializers.ChoiceField(Failure.HowKnown.choices)
    visit = Opaque(Visit.PREFIX, source="visit_id", allow_null=True)
    supersedes = Opaque(Failure.PREFIX, source="supersedes_id", allow_null=True)


class FailureQuery(FactQuery):
    """Which failures."""

    cause = Choice(Failure.Cause.choices, required=False)


class Failures(CreateDoor):
    resource = "failures"
    entry = FailureEntry
    answer = FailureAnswer
    query = FailureQuery
    orderings = ("-failed_on", "failed_on", "-recorded_at", "recorded_at")

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[Failure]:
        rows = asked_facts(Failure.objects.all(), asked)
        return rows.filter(cause=asked["cause"]) if "cause" in asked else rows

    def write(self, entry: dict[str, Any], at: datetime) -> Outcome[Failure]:
        return failures.record_failure(by=self.actor, at=at, entry=entry)

    def address(self, row: Failure) -> str:
        return f"/api/v1/failures/{Opaque(Failure.PREFIX).to_representation(row.pk)}/"


class OneFailure(OneDoor):
    resource = "failures"
    answer = FailureAnswer

    def find(self, **keys: Any) -> Failure:
        return names.addressed(asked_facts(Failure.objects.all(), {"voided": None}), keys["id"])


class VoidFailure(VoidDoor):
    answer = FailureAnswer
    find = OneFailure.find
