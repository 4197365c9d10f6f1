"""shipping-decisions/: how a pack may travel, decided and signed by who is qualified; a record,
never a permission."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from packs.api.doors import CreateDoor, OneDoor, VoidDoor
from packs.api.facts import FactAnswer, FactQuery, asked_facts
from packs.api.fields import Choice, Instant, Opaque, QueryId, Text, optional
from packs.api.shapes import FactShape, supersedes
from packs.models import ShippingDecision, Visit
from packs.reads import names
from packs.rules.bounds import SERIAL_LENGTH
from packs.rules.shipping import NAMES
from packs.writes import shipping_decisions
from packs.writes.recording import Outcome

CAUTION = (
    "A record of what was decided, no permission: the regulations in force decide, and who signs "
    "answers for it."
)


class ShippingEntry(FactShape):
    """A decision as it is sent, signed by `done_by` with the qualification named; without `at` it
    was taken now."""

    pack = Text(max_length=SERIAL_LENGTH)
    visit = optional(Opaque, kind=Visit.PREFIX)
    condition = Choice(ShippingDecision.Condition.choices)
    un_number = Choice(list(NAMES))
    qualification = Text(max_length=100, min_length=1)
    reasons = Text(min_length=1)
    packing = optional(Text)
    at = optional(Instant)
    supersedes = supersedes(ShippingDecision.PREFIX)


class ShippingAnswer(FactAnswer):
    """A decision as it is answered."""

    id = Opaque(ShippingDecision.PREFIX, source="pk")
    visit = Opaque(Visit.PREFIX, source="visit_id", allow_null=True)
    at = serializers.DateTimeField(source="happened_at")
    condition = serializers.ChoiceField(ShippingDecision.Condition.choices)
    un_number = serializers.CharField()
    qualification = serializers.CharField()
    reasons = serializers.CharField()
    packing = serializers.CharField()
    caution = serializers.SerializerMethodField()
    supersedes = Opaque(ShippingDecision.PREFIX, source="supersedes_id", allow_null=True)

    def get_caution(self, row: ShippingDecision) -> str:
        return CAUTION


class ShippingQuery(FactQuery):
    """Which decisions."""

    visit = QueryId(Visit.PREFIX, required=False)
    condition = Choice(ShippingDecision.Condition.choices, required=False)
    since = Instant(required=False)
    until = Instant(required=False)


COLUMNS = {
    "visit": "visit_id",
    "condition": "condition",
    "since": "happened_at__gte",
    "until": "happened_at__lte",
}


class ShippingDecisions(CreateDoor):
    resource = "shipping-decisions"
    entry = ShippingEntry
    answer = ShippingAnswer
    query = ShippingQuery
    orderings = ("-at", "at", "-recorded_at", "recorded_at")
    ordering_columns = {"at": "happened_at"}

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[ShippingDecision]:
        columns = {COLUMNS[name]: value for name, value in asked.items() if name in COLUMNS}
        return asked_facts(ShippingDecision.objects.all(), asked).filter(**columns)

    def write(self, entry: dict[str, Any], at: datetime) -> Outcome[ShippingDecision]:
        return shipping_decisions.record_shipping_decision(by=self.actor, at=at, entry=entry)

    def address(self, row: ShippingDecision) -> str:
        key = Opaque(ShippingDecision.PREFIX).to_representation(row.pk)
        return f"/api/v1/shipping-decisions/{key}/"


class OneShippingDecision(OneDoor):
    resource = "shipping-decisions"
    answer = ShippingAnswer

    def find(self, **keys: Any) -> ShippingDecision:
        return names.addressed(asked_facts(ShippingDecision.objects.all(), {}), keys["id"])


class VoidShippingDecision(VoidDoor):
    answer = ShippingAnswer
    find = OneShippingDecision.find
