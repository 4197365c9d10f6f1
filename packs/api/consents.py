"""consents/: the owner's word, to the work of a visit or to extra work."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from packs.api.doors import CreateDoor, OneDoor, VoidDoor
from packs.api.facts import FactAnswer, FactQuery, asked_facts
from packs.api.fields import Choice, Instant, Opaque, QueryId, Text, Truth, optional
from packs.api.shapes import FactShape, supersedes
from packs.models import Consent, CostEstimate, Visit
from packs.reads import names
from packs.writes import consents
from packs.writes.recording import Outcome


class ConsentEntry(FactShape):
    """The owner's word as it is sent; without `at` it was given now."""

    visit = Opaque(Visit.PREFIX)
    about = Choice(Consent.About.choices)
    given = Truth()
    how = Choice(Consent.How.choices)
    at = optional(Instant)
    estimate = optional(Opaque, kind=CostEstimate.PREFIX)
    wording = optional(Text)
    note = optional(Text)
    supersedes = supersedes(Consent.PREFIX)


class ConsentAnswer(FactAnswer):
    """The owner's word as it is answered."""

    id = Opaque(Consent.PREFIX, source="pk")
    visit = Opaque(Visit.PREFIX, source="visit_id")
    about = serializers.ChoiceField(Consent.About.choices)
    given = serializers.BooleanField()
    how = serializers.ChoiceField(Consent.How.choices)
    at = serializers.DateTimeField(source="happened_at")
    estimate = Opaque(CostEstimate.PREFIX, source="estimate_id", allow_null=True)
    wording = serializers.CharField()
    note = serializers.CharField()
    supersedes = Opaque(Consent.PREFIX, source="supersedes_id", allow_null=True)


class ConsentQuery(FactQuery):
    """Which words of owners."""

    visit = QueryId(Visit.PREFIX, required=False)
    estimate = QueryId(CostEstimate.PREFIX, required=False)
    about = Choice(Consent.About.choices, required=False)
    given = Truth(required=False)
    since = Instant(required=False)
    until = Instant(required=False)


COLUMNS = {
    "visit": "visit_id",
    "estimate": "estimate_id",
    "about": "about",
    "given": "given",
    "since": "happened_at__gte",
    "until": "happened_at__lte",
}


class Consents(CreateDoor):
    resource = "consents"
    entry = ConsentEntry
    answer = ConsentAnswer
    query = ConsentQuery
    orderings = ("-at", "at", "-recorded_at", "recorded_at")
    ordering_columns = {"at": "happened_at"}

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[Consent]:
        columns = {COLUMNS[name]: value for name, value in asked.items() if name in COLUMNS}
        return asked_facts(Consent.objects.all(), asked).filter(**columns)

    def write(self, entry: dict[str, Any], at: datetime) -> Outcome[Consent]:
        return consents.record_consent(by=self.actor, at=at, entry=entry)

    def address(self, row: Consent) -> str:
        return f"/api/v1/consents/{Opaque(Consent.PREFIX).to_representation(row.pk)}/"


class OneConsent(OneDoor):
    resource = "consents"
    answer = ConsentAnswer

    def find(self, **keys: Any) -> Consent:
        return names.addressed(asked_facts(Consent.objects.all(), {}), keys["id"])


class VoidConsent(VoidDoor):
    answer = ConsentAnswer
    find = OneConsent.find
