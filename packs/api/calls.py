"""calls/: the owner of a pack was called, or somebody tried."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from packs.api.doors import CreateDoor, OneDoor, VoidDoor
from packs.api.facts import FactAnswer, FactQuery, asked_facts
from packs.api.fields import Choice, Day, Instant, Opaque, QueryId, Text, optional
from packs.api.shapes import FactShape, supersedes
from packs.models import Call, Visit
from packs.reads import names
from packs.writes import calls
from packs.writes.recording import Outcome


class CallEntry(FactShape):
    """A call as it is sent."""

    pack = Text(max_length=40)
    visit = optional(Opaque, kind=Visit.PREFIX)
    at = optional(Instant)
    reason = Choice(Call.Reason.choices)
    outcome = Choice(Call.Outcome.choices)
    again_on = optional(Day)
    note = optional(Text)
    supersedes = supersedes(Call.PREFIX)


class CallAnswer(FactAnswer):
    """A call as it is answered."""

    id = Opaque(Call.PREFIX, source="pk")
    visit = Opaque(Visit.PREFIX, source="visit_id", allow_null=True)
    at = serializers.DateTimeField(source="happened_at")
    reason = serializers.ChoiceField(Call.Reason.choices)
    outcome = serializers.ChoiceField(Call.Outcome.choices)
    again_on = serializers.DateField(allow_null=True)
    note = serializers.CharField()
    supersedes = Opaque(Call.PREFIX, source="supersedes_id", allow_null=True)


class CallQuery(FactQuery):
    """Which calls; `again_until` those to be made again by that day."""

    visit = QueryId(Visit.PREFIX, required=False)
    reason = Choice(Call.Reason.choices, required=False)
    outcome = Choice(Call.Outcome.choices, required=False)
    again_until = Day(required=False)


COLUMNS = {
    "visit": "visit_id",
    "reason": "reason",
    "outcome": "outcome",
    "again_until": "again_on__lte",
}


class Calls(CreateDoor):
    resource = "calls"
    entry = CallEntry
    answer = CallAnswer
    query = CallQuery
    orderings = ("-at", "at", "-recorded_at", "recorded_at")
    ordering_columns = {"at": "happened_at"}

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[Call]:
        columns = {COLUMNS[name]: value for name, value in asked.items() if name in COLUMNS}
        return asked_facts(Call.objects.all(), asked).filter(**columns)

    def write(self, entry: dict[str, Any], at: datetime) -> Outcome[Call]:
        return calls.record_call(by=self.actor, at=at, entry=entry)

    def address(self, row: Call) -> str:
        return f"/api/v1/calls/{Opaque(Call.PREFIX).to_representation(row.pk)}/"


class OneCall(OneDoor):
    resource = "calls"
    answer = CallAnswer

    def find(self, **keys: Any) -> Call:
        return names.addressed(asked_facts(Call.objects.all(), {}), keys["id"])


class VoidCall(VoidDoor):
    answer = CallAnswer
    find = OneCall.find
