"""claims/: what was asked of a warranty, and what was decided."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from packs.api.doors import CreateDoor, OneDoor, VoidDoor
from packs.api.facts import FactAnswer, FactQuery, asked_facts
from packs.api.fields import Choice, Money, Opaque, QueryId, Text, optional
from packs.api.shapes import FactShape, supersedes
from packs.models import Claim, Visit, Warranty
from packs.reads import names
from packs.writes import claims
from packs.writes.recording import Outcome


class ClaimEntry(FactShape):
    """A claim as it is sent; its pack is that of the warranty."""

    warranty = Opaque(Warranty.PREFIX)
    visit = optional(Opaque, kind=Visit.PREFIX)
    decision = Choice(Claim.Decision.choices)
    reason = Text(required=False, allow_blank=True)
    parts_cost = optional(Money)
    labour_cost = optional(Money)
    goodwill = optional(Money)
    supersedes = supersedes(Claim.PREFIX)


class ClaimAnswer(FactAnswer):
    """A claim as it is answered."""

    id = Opaque(Claim.PREFIX, source="pk")
    warranty = Opaque(Warranty.PREFIX, source="warranty_id")
    visit = Opaque(Visit.PREFIX, source="visit_id", allow_null=True)
    decision = serializers.ChoiceField(Claim.Decision.choices)
    reason = serializers.CharField()
    parts_cost = Money(allow_null=True)
    labour_cost = Money(allow_null=True)
    goodwill = Money(allow_null=True)
    supersedes = Opaque(Claim.PREFIX, source="supersedes_id", allow_null=True)


class ClaimQuery(FactQuery):
    """Which claims."""

    warranty = QueryId(Warranty.PREFIX, required=False)
    visit = QueryId(Visit.PREFIX, required=False)
    decision = Choice(Claim.Decision.choices, required=False)


COLUMNS = {"warranty": "warranty_id", "visit": "visit_id", "decision": "decision"}


class Claims(CreateDoor):
    resource = "claims"
    entry = ClaimEntry
    answer = ClaimAnswer
    query = ClaimQuery
    orderings = ("-recorded_at", "recorded_at")

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[Claim]:
        columns = {COLUMNS[name]: value for name, value in asked.items() if name in COLUMNS}
        return asked_facts(Claim.objects.all(), asked).filter(**columns)

    def write(self, entry: dict[str, Any], at: datetime) -> Outcome[Claim]:
        return claims.record_claim(by=self.actor, at=at, entry=entry)

    def address(self, row: Claim) -> str:
        return f"/api/v1/claims/{Opaque(Claim.PREFIX).to_representation(row.pk)}/"


class OneClaim(OneDoor):
    resource = "claims"
    answer = ClaimAnswer

    def find(self, **keys: Any) -> Claim:
        return names.addressed(asked_facts(Claim.objects.all(), {}), keys["id"])


class VoidClaim(VoidDoor):
    answer = ClaimAnswer
    find = OneClaim.find
