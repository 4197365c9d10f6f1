"""cost-estimates/: what work on a visit is expected to cost."""

from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from packs.api.doors import CreateDoor, OneDoor, VoidDoor
from packs.api.facts import FactAnswer, FactQuery, asked_facts
from packs.api.fields import Choice, Day, Instant, Money, Opaque, QueryId, Text, optional
from packs.api.shapes import FactShape, Shape, supersedes
from packs.models import CostEstimate, EstimateLine, Visit
from packs.reads import cost_estimates as reads
from packs.reads import names
from packs.rules.costs import CENT, Sums
from packs.writes import cost_estimates as writes
from packs.writes.recording import Outcome

QUANTITY_MAX = Decimal("999999.99")  # that the column holds
WHOLE_PCT = Decimal(100)


class EstimateLineEntry(Shape):
    """So many of what, at how much each."""

    kind = Choice(EstimateLine.Kinds.choices)
    what = Text(max_length=200)
    quantity = Money(min_value=CENT, max_value=QUANTITY_MAX)
    unit_price = Money()


class CostEstimateEntry(FactShape):
    """An estimate as it is sent; without `at` it is made now."""

    visit = Opaque(Visit.PREFIX)
    at = optional(Instant)
    valid_until = optional(Day)
    tax_pct = optional(Money, max_value=WHOLE_PCT)
    note = optional(Text)
    lines: Any = serializers.ListSerializer(child=EstimateLineEntry(), max_length=writes.LINES_MAX)
    supersedes = supersedes(CostEstimate.PREFIX)


class EstimateLineAnswer(serializers.Serializer[Any]):
    """One line, with what it comes to."""

    kind = serializers.ChoiceField(EstimateLine.Kinds.choices)
    what = serializers.CharField()
    quantity = Money()
    unit_price = Money()
    amount = Money()


class CostEstimateAnswer(FactAnswer):
    """An estimate as it is answered: each line rounded to cents, the tax on their sum once."""

    id = Opaque(CostEstimate.PREFIX, source="pk")
    visit = Opaque(Visit.PREFIX, source="visit_id")
    at = serializers.DateTimeField(source="happened_at")
    valid_until = serializers.DateField(allow_null=True)
    tax_pct = Money()
    note = serializers.CharField()
    lines = serializers.SerializerMethodField()
    net = serializers.SerializerMethodField()
    tax = serializers.SerializerMethodField()
    total = serializers.SerializerMethodField()
    word = serializers.SerializerMethodField()
    supersedes = Opaque(CostEstimate.PREFIX, source="supersedes_id", allow_null=True)

    @extend_schema_field(EstimateLineAnswer(many=True))
    def get_lines(self, estimate: CostEstimate) -> Any:
        amounts = self._sums(estimate).amounts
        return [
            EstimateLineAnswer(
                {**{name: getattr(line, name) for name in LINE}, "amount": amount}
            ).data
            for line, amount in zip(reads.lines(estimate), amounts, strict=True)
        ]

    def get_net(self, estimate: CostEstimate) -> float:
        return float(self._sums(estimate).net)

    def get_tax(self, estimate: CostEstimate) -> float:
        return float(self._sums(estimate).tax)

    def get_total(self, estimate: CostEstimate) -> float:
        return float(self._sums(estimate).total)

    @extend_schema_field(serializers.ChoiceField(reads.WORDS))
    def get_word(self, estimate: CostEstimate) -> str:
        return reads.word(estimate)

    def _sums(self, estimate: CostEstimate) -> Sums:
        return reads.sums(estimate)


LINE = ("kind", "what", "quantity", "unit_price")


class CostEstimateQuery(FactQuery):
    """Which estimates."""

    visit = QueryId(Visit.PREFIX, required=False)
    since = Instant(required=False)
    until = Instant(required=False)


COLUMNS = {"visit": "visit_id", "since": "happened_at__gte", "until": "happened_at__lte"}


class CostEstimates(CreateDoor):
    resource = "cost-estimates"
    entry = CostEstimateEntry
    answer = CostEstimateAnswer
    query = CostEstimateQuery
    orderings = ("-at", "at", "-recorded_at", "recorded_at")
    ordering_columns = {"at": "happened_at"}

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[CostEstimate]:
        columns = {COLUMNS[name]: value for name, value in asked.items() if name in COLUMNS}
        return asked_facts(reads.rows(), asked).filter(**columns)

    def write(self, entry: dict[str, Any], at: datetime) -> Outcome[CostEstimate]:
        return writes.record_cost_estimate(by=self.actor, at=at, entry=entry)

    def address(self, row: CostEstimate) -> str:
        return f"/api/v1/cost-estimates/{Opaque(CostEstimate.PREFIX).to_representation(row.pk)}/"


class OneCostEstimate(OneDoor):
    resource = "cost-estimates"
    answer = CostEstimateAnswer

    def find(self, **keys: Any) -> CostEstimate:
        return names.addressed(asked_facts(reads.rows(), {}), keys["id"])


class VoidCostEstimate(VoidDoor):
    answer = CostEstimateAnswer
    find = OneCostEstimate.find
