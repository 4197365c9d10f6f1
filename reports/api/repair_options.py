"""packs/{serial}/repair-options/: what each repair of a pack would do and cost, side by side."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from packs.api.doors import OneDoor
from packs.api.fields import Choice, Number, Text, Whole
from packs.api.shapes import Shape
from packs.errors import Malformed
from packs.models import Component, Pack
from packs.reads import names
from packs.rules.costs import cents
from reports.api.outlooks import FitAnswer
from reports.reads import repair_options
from reports.reads.repair_options import MONTHS, MONTHS_MAX, Ask, Option, Options
from reports.writes import outlooks

RETURN_COST_MAX = 1_000_000
LONGEST = 2_000  # letters of a list in an address


class RepairQuery(Shape):
    """`positions` and `modules` with commas between, in the same order; without them the weakest
    position, and modules of the stock that match it. A return costs a rebuild by the list, else
    another pack, else the same work again, unless `return_cost` says otherwise."""

    positions = Text(max_length=LONGEST, required=False)
    modules = Text(max_length=LONGEST, required=False)
    component = Choice(Component.Kinds.choices, required=False)
    months = Whole(min_value=1, max_value=MONTHS_MAX, required=False, default=MONTHS)
    return_cost = Number(min_value=0, max_value=RETURN_COST_MAX, required=False)


class OptionAnswer(serializers.Serializer[Any]):
    """One repair. `within_warranty` is the probability of a recorded failure within the months;
    `expected_cost` is `price` and that probability times `return_cost`."""

    kind = serializers.ChoiceField(["as_it_is", "component", "modules", "rebuild", "replacement"])
    positions = serializers.ListField(child=serializers.IntegerField())
    modules = serializers.ListField(child=serializers.CharField())
    failure_probability = serializers.SerializerMethodField()
    within_warranty = serializers.FloatField(source="after.within_warranty")
    older_checks = serializers.IntegerField(source="after.older_checks", allow_null=True)
    parts = serializers.FloatField(source="cost.parts", allow_null=True)
    hours = serializers.FloatField(source="cost.hours", allow_null=True)
    labour = serializers.FloatField(source="cost.labour", allow_null=True)
    price = serializers.FloatField(source="cost.total", allow_null=True)
    return_cost = serializers.FloatField(allow_null=True)
    expected_cost = serializers.FloatField(allow_null=True)
    missing = serializers.CharField(source="cost.missing")
    risks = serializers.ListField(child=serializers.CharField())

    @extend_schema_field(serializers.DictField(child=serializers.FloatField()))
    def get_failure_probability(self, option: Option) -> dict[str, float]:
        return {str(days): chance for days, chance in option.after.failure_probability.items()}


class RepairAnswer(serializers.Serializer[Any]):
    """The repairs side by side, and where they rest on little."""

    pack = serializers.CharField(source="outlook.pack.serial")
    as_of = serializers.DateTimeField(source="outlook.as_of")
    level = serializers.CharField(source="outlook.level")
    positions = serializers.ListField(child=serializers.IntegerField(), source="ask.positions")
    months = serializers.IntegerField(source="ask.months")
    options = OptionAnswer(many=True)
    thin = serializers.ListField(child=serializers.CharField())
    pack_revision = serializers.IntegerField(source="outlook.pack_revision")
    fit = FitAnswer(source="outlook.fit")


class RepairOptions(OneDoor):
    resource = "prices"
    answer = RepairAnswer
    query = RepairQuery
    row: Pack

    def find(self, **keys: Any) -> Pack:
        return names.keyed(names.packs(), serial__upper=keys["serial"].upper())

    def get(self, request: Request, **keys: Any) -> Response:
        ask = _asked(self.asked())
        outlook = outlooks.present(self.row, at=timezone.now())
        found: Options = repair_options.gather(outlook, ask)
        return Response(self.shown(found))


def _asked(said: Mapping[str, Any]) -> Ask:
    again = said.get("return_cost")
    return Ask(
        positions=tuple(_whole(part) for part in _parts(said.get("positions"))),
        modules=tuple(_parts(said.get("modules"))),
        component=said.get("component") or "",
        months=said["months"],
        return_cost=None if again is None else cents(Decimal(repr(again))),
    )


def _parts(text: str | None) -> list[str]:
    return [part.strip() for part in (text or "").split(",") if part.strip()]


def _whole(text: str) -> int:
    if not text.isdecimal() or len(text) > 5:
        raise Malformed.at("/positions", "not_whole", "Name positions such as 7,8.")
    return int(text)
