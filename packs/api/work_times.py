"""work-times/: time spent on the stages of a job, by start and stop.

A time without an end is a clock that runs; a record that supersedes it, with an end, stops it.
Asked for one visit, the list bears the sums of its stages as `minutes_by_stage`.
"""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from packs.api.doors import CreateDoor, OneDoor, VoidDoor
from packs.api.facts import FactAnswer, FactQuery, asked_facts
from packs.api.fields import Choice, Instant, Opaque, QueryId, Text, Truth, optional
from packs.api.shapes import FactShape, supersedes
from packs.models import Visit, WorkTime
from packs.reads import names
from packs.reads import work_times as reads
from packs.rules.bounds import CODE_LENGTH
from packs.writes import work_times
from packs.writes.recording import Outcome


class WorkTimeEntry(FactShape):
    """A time as it is sent; without `started_at` it begins now."""

    visit = Opaque(Visit.PREFIX)
    done_by = Text(max_length=CODE_LENGTH, min_length=1)
    stage = Choice(WorkTime.Stage.choices)
    started_at = optional(Instant)
    ended_at = optional(Instant)
    note = optional(Text)
    supersedes = supersedes(WorkTime.PREFIX)


class WorkTimeAnswer(FactAnswer):
    """A time as it is answered; `minutes` once it has ended."""

    id = Opaque(WorkTime.PREFIX, source="pk")
    visit = Opaque(Visit.PREFIX, source="visit_id")
    stage = serializers.ChoiceField(WorkTime.Stage.choices)
    started_at = serializers.DateTimeField()
    ended_at = serializers.DateTimeField(allow_null=True)
    minutes = serializers.SerializerMethodField()
    note = serializers.CharField()
    supersedes = Opaque(WorkTime.PREFIX, source="supersedes_id", allow_null=True)

    def get_minutes(self, row: WorkTime) -> float | None:
        return reads.minutes(row)


class WorkTimeQuery(FactQuery):
    """Which times."""

    visit = QueryId(Visit.PREFIX, required=False)
    stage = Choice(WorkTime.Stage.choices, required=False)
    running = Truth(required=False)
    since = Instant(required=False)
    until = Instant(required=False)


COLUMNS = {
    "visit": "visit_id",
    "stage": "stage",
    "running": "ended_at__isnull",
    "since": "started_at__gte",
    "until": "started_at__lte",
}


class WorkTimes(CreateDoor):
    resource = "work-times"
    entry = WorkTimeEntry
    answer = WorkTimeAnswer
    query = WorkTimeQuery
    orderings = ("-started_at", "started_at", "-recorded_at", "recorded_at")

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[WorkTime]:
        columns = {COLUMNS[name]: value for name, value in asked.items() if name in COLUMNS}
        return asked_facts(WorkTime.objects.all(), asked).filter(**columns)

    def get(self, request: Request, **keys: Any) -> Response:
        response = super().get(request, **keys)
        visit = self.asked().get("visit")
        if visit is not None:
            response.data = {**response.data, "minutes_by_stage": reads.minutes_by_stage(visit)}
        return response

    def write(self, entry: dict[str, Any], at: datetime) -> Outcome[WorkTime]:
        return work_times.record_work_time(by=self.actor, at=at, entry=entry)

    def address(self, row: WorkTime) -> str:
        return f"/api/v1/work-times/{reads.key(row)}/"


class OneWorkTime(OneDoor):
    resource = "work-times"
    answer = WorkTimeAnswer

    def find(self, **keys: Any) -> WorkTime:
        return names.addressed(asked_facts(WorkTime.objects.all(), {}), keys["id"])


class VoidWorkTime(VoidDoor):
    answer = WorkTimeAnswer
    find = OneWorkTime.find
