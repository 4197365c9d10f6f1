"""incidents/: somebody was hurt or something broke, or nearly."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from packs.api.doors import CreateDoor, OneDoor, VoidDoor
from packs.api.facts import FactAnswer, FactQuery, asked_facts
from packs.api.fields import Choice, Instant, Opaque, QueryId, Text, optional
from packs.api.shapes import FactShape, supersedes
from packs.models import Incident, Visit
from packs.reads import names
from packs.writes import incidents
from packs.writes.recording import Outcome


class IncidentEntry(FactShape):
    """An incident or a near miss as it is sent; without `at` it happened now."""

    visit = optional(Opaque, kind=Visit.PREFIX)
    at = optional(Instant)
    kind = Choice(Incident.Kinds.choices)
    harm = Choice(Incident.Harm.choices)
    what = Text(min_length=1)
    action = optional(Text)
    supersedes = supersedes(Incident.PREFIX)


class IncidentAnswer(FactAnswer):
    """An incident as it is answered."""

    id = Opaque(Incident.PREFIX, source="pk")
    visit = Opaque(Visit.PREFIX, source="visit_id", allow_null=True)
    at = serializers.DateTimeField(source="happened_at")
    kind = serializers.ChoiceField(Incident.Kinds.choices)
    harm = serializers.ChoiceField(Incident.Harm.choices)
    what = serializers.CharField()
    action = serializers.CharField()
    supersedes = Opaque(Incident.PREFIX, source="supersedes_id", allow_null=True)


class IncidentQuery(FactQuery):
    """Which incidents."""

    visit = QueryId(Visit.PREFIX, required=False)
    kind = Choice(Incident.Kinds.choices, required=False)
    harm = Choice(Incident.Harm.choices, required=False)
    since = Instant(required=False)
    until = Instant(required=False)


COLUMNS = {
    "visit": "visit_id",
    "kind": "kind",
    "harm": "harm",
    "since": "happened_at__gte",
    "until": "happened_at__lte",
}


class Incidents(CreateDoor):
    resource = "incidents"
    entry = IncidentEntry
    answer = IncidentAnswer
    query = IncidentQuery
    orderings = ("-at", "at", "-recorded_at", "recorded_at")
    ordering_columns = {"at": "happened_at"}

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[Incident]:
        columns = {COLUMNS[name]: value for name, value in asked.items() if name in COLUMNS}
        return asked_facts(Incident.objects.all(), asked).filter(**columns)

    def write(self, entry: dict[str, Any], at: datetime) -> Outcome[Incident]:
        return incidents.record_incident(by=self.actor, at=at, entry=entry)

    def address(self, row: Incident) -> str:
        return f"/api/v1/incidents/{Opaque(Incident.PREFIX).to_representation(row.pk)}/"


class OneIncident(OneDoor):
    resource = "incidents"
    answer = IncidentAnswer

    def find(self, **keys: Any) -> Incident:
        return names.addressed(asked_facts(Incident.objects.all(), {}), keys["id"])


class VoidIncident(VoidDoor):
    answer = IncidentAnswer
    find = OneIncident.find
