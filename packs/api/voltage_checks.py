"""voltage-checks/: one, a list, or a stream of lines."""

import json
from collections import Counter
from collections.abc import Iterator, Mapping
from contextlib import ExitStack
from datetime import datetime
from tempfile import SpooledTemporaryFile
from typing import Any, Literal, cast

from django.db.models import QuerySet
from django.http import FileResponse
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import (
    OpenApiRequest,
    OpenApiResponse,
    PolymorphicProxySerializer,
    extend_schema_field,
)
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from packs.api import check_lines
from packs.api.check_streams import answer_lines, read_ahead
from packs.api.doors import CreateDoor, OneDoor, VoidDoor
from packs.api.facts import FactAnswer, FactQuery, asked_facts
from packs.api.fields import (
    Choice,
    Instant,
    Number,
    Opaque,
    QueryId,
    Text,
    Volts,
    Whole,
    optional,
)
from packs.api.parsers import NDJSON_TYPE, LineParser, StrictJSONParser
from packs.api.schema import Schema
from packs.api.shapes import FactShape, Shape, supersedes, taken
from packs.errors import DomainError, TooLarge
from packs.models import Visit, VoltageCheck
from packs.reads import comparing, names
from packs.rules import bounds
from packs.writes import answers, checks
from packs.writes.recording import Outcome

LIST_MAX = 5000
SPOOL_IN_MEMORY = 1024 * 1024  # bytes of answers kept in memory before they go to a file
CURRENT_MAX_A = bounds.CURRENT_MAX_A
COLDEST_C, HOTTEST_C = bounds.COLDEST_C, bounds.HOTTEST_C
DECIMALS = 9  # of a volt; binary rounding is not told as a figure


class Temperatures(Shape):
    """Where in the pack it was how warm."""

    inlet = Number(required=False, min_value=COLDEST_C, max_value=HOTTEST_C)
    outlet = Number(required=False, min_value=COLDEST_C, max_value=HOTTEST_C)
    middle = Number(required=False, min_value=COLDEST_C, max_value=HOTTEST_C)


class CheckEntry(FactShape):
    """A voltage check as it is sent."""

    pack = Text(max_length=bounds.SERIAL_LENGTH)
    taken_at = Instant()
    level = Choice(VoltageCheck.Level.choices)
    condition = Choice(VoltageCheck.Condition.choices)
    current_a = Number(min_value=-CURRENT_MAX_A, max_value=CURRENT_MAX_A)
    voltages_v = Volts()
    set = optional(Text, max_length=bounds.SET_LENGTH, min_length=1)
    current_min_a = optional(Number, min_value=-CURRENT_MAX_A, max_value=CURRENT_MAX_A)
    current_max_a = optional(Number, min_value=-CURRENT_MAX_A, max_value=CURRENT_MAX_A)
    condition_s = optional(Number, min_value=0)
    rested_min = optional(Number, min_value=0)
    last_current = optional(Choice, choices=["charge", "discharge"])
    soc_pct = optional(Number, min_value=0, max_value=100)
    soc_source = optional(Choice, choices=["monitor", "estimated"])
    temperature_c = optional(Number, min_value=COLDEST_C, max_value=HOTTEST_C)
    temperatures_c = Temperatures(required=False, allow_null=True)
    odometer_km = optional(Whole, max_value=bounds.FARTHEST_KM)
    taken = optional(Choice, choices=["together", "one_by_one"])
    order = Choice(["position", "monitor"], required=False, default="position")
    equipment = optional(Text, max_length=bounds.CODE_LENGTH, min_length=1)
    instrument = optional(Text, max_length=bounds.INSTRUMENT_LENGTH, min_length=1)
    visit = optional(Opaque, kind=Visit.PREFIX)
    supersedes = supersedes(VoltageCheck.PREFIX)


class SuspectAnswer(serializers.Serializer[Any]):
    """A position that is possible but strange."""

    position = serializers.IntegerField()
    why = serializers.CharField()


class FindingAnswer(serializers.Serializer[Any]):
    """What the voltages say, and what would settle it."""

    kind = serializers.CharField()
    positions = serializers.ListField(child=serializers.IntegerField())
    why = serializers.CharField()
    settle = serializers.CharField()


class CheckAnswer(FactAnswer):
    """A voltage check as it is answered, in order of position, with what follows from it."""

    id = Opaque(VoltageCheck.PREFIX, source="pk")
    taken_at = serializers.DateTimeField()
    level = serializers.ChoiceField(VoltageCheck.Level.choices)
    condition = serializers.ChoiceField(VoltageCheck.Condition.choices)
    current_a = serializers.FloatField()
    voltages_v = Volts(source="voltages")
    set = serializers.CharField(source="set_name", allow_null=True)
    current_min_a = serializers.FloatField(allow_null=True)
    current_max_a = serializers.FloatField(allow_null=True)
    condition_s = serializers.FloatField(allow_null=True)
    rested_min = serializers.FloatField(allow_null=True)
    last_current = serializers.CharField(allow_null=True)
    soc_pct = serializers.FloatField(allow_null=True)
    soc_source = serializers.CharField(allow_null=True)
    temperature_c = serializers.FloatField(allow_null=True)
    temperatures_c = serializers.DictField(child=serializers.FloatField(), allow_null=True)
    odometer_km = serializers.IntegerField(allow_null=True)
    taken = serializers.CharField(allow_null=True)
    order = serializers.SerializerMethodField()
    equipment = serializers.CharField(source="equipment.code", allow_null=True, default=None)
    instrument = serializers.CharField(allow_null=True)
    visit = Opaque(Visit.PREFIX, source="visit_id", allow_null=True)
    supersedes = Opaque(VoltageCheck.PREFIX, source="supersedes_id", allow_null=True)
    spread_v = serializers.FloatField()
    median_v = serializers.FloatField()
    weakest_position = serializers.IntegerField(allow_null=True)
    weakest_deviation_v = serializers.FloatField(allow_null=True)
    suspect = SuspectAnswer(many=True)
    spread_at_reference_v = serializers.SerializerMethodField()
    not_comparable = serializers.SerializerMethodField()
    findings = serializers.SerializerMethodField()
    warnings = serializers.SerializerMethodField()

    def get_order(self, check: VoltageCheck) -> Literal["position"]:
        return "position"

    def get_spread_at_reference_v(self, check: VoltageCheck) -> float | None:
        spread_v = self._derived(check).spread_v
        return None if spread_v is None else round(spread_v, DECIMALS)

    def get_not_comparable(self, check: VoltageCheck) -> str | None:
        return self._derived(check).why_not

    @extend_schema_field(FindingAnswer(many=True))
    def get_findings(self, check: VoltageCheck) -> Any:
        return FindingAnswer(self._derived(check).findings, many=True).data

    def get_warnings(self, check: VoltageCheck) -> list[str]:
        return list(self._derived(check).warnings)

    def _derived(self, check: VoltageCheck) -> comparing.Derived:
        derived: comparing.Derived = self.context["derived"][check.pk]
        return derived


class CheckQuery(FactQuery):
    """Which checks."""

    level = Choice(VoltageCheck.Level.choices, required=False)
    condition = Choice(VoltageCheck.Condition.choices, required=False)
    taken_since = Instant(required=False)
    taken_until = Instant(required=False)
    visit = QueryId(Visit.PREFIX, required=False)
    set = Text(required=False)


COLUMNS = {
    "level": "level",
    "condition": "condition",
    "taken_since": "taken_at__gte",
    "taken_until": "taken_at__lte",
    "visit": "visit_id",
    "set": "set_name",
}


def rows() -> QuerySet[VoltageCheck]:
    return VoltageCheck.objects.select_related("pack__pack_type", "equipment")


class OneOrMany(Schema):
    """A POST takes one check, a list, or a stream, and answers in kind."""

    def get_request_serializer(self) -> Any:
        if self.method != "POST":
            return None
        line = "One check a line, as JSON; blank lines count, and are not answered."
        return {
            "application/json": _one_or_list("CheckOrChecks", CheckEntry),
            NDJSON_TYPE: OpenApiRequest({"type": "string", "description": line}),
        }

    def _successes(self) -> dict[Any, Any]:
        if self.method != "POST":
            return super()._successes()
        stored = _one_or_list("CheckOrChecksAnswer", CheckAnswer)
        told = "One answer a line, in order, sent after the body has ended; then a summary."
        lines = OpenApiResponse(OpenApiTypes.STR, description=told)
        return {
            ("200", "application/json"): stored,
            ("200", NDJSON_TYPE): lines,
            ("201", "application/json"): stored,
        }


def _one_or_list(name: str, shape: Any) -> PolymorphicProxySerializer:
    return PolymorphicProxySerializer(
        component_name=name,
        serializers=[shape, shape(many=True)],
        resource_type_field_name=None,
        many=False,
    )


class VoltageChecks(CreateDoor):
    resource = "voltage-checks"
    schema = OneOrMany()
    entry = CheckEntry
    answer = CheckAnswer
    query = CheckQuery
    orderings = ("-taken_at", "taken_at", "-recorded_at", "recorded_at", "-spread_v", "spread_v")
    parser_classes = (StrictJSONParser, LineParser)

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[VoltageCheck]:
        columns = {COLUMNS[name]: value for name, value in asked.items() if name in COLUMNS}
        return asked_facts(rows(), asked).filter(**columns)

    def shown(self, row: Any, **kwargs: Any) -> Any:
        derived = comparing.derive(row if kwargs.get("many") else [row])
        return CheckAnswer(row, context={"derived": derived}, **kwargs).data

    def address(self, row: VoltageCheck) -> str:
        return f"/api/v1/voltage-checks/{Opaque(VoltageCheck.PREFIX).to_representation(row.pk)}/"

    def post(self, request: Request, **keys: Any) -> Any:
        at = timezone.now()
        if (request.content_type or "").startswith(NDJSON_TYPE):
            return self._stream(request, at)
        if isinstance(request.data, list):
            entries = entries_of(request.data)
            return self.once(at, lambda: self._stored_all(entries, at))
        return super().post(request, **keys)

    def write(self, entry: dict[str, Any], at: datetime) -> Outcome[VoltageCheck]:
        return checks.record(by=self.actor, at=at, entry=entry)

    def _stored_all(self, entries: list[dict[str, Any]], at: datetime) -> Response:
        outcomes = checks.record_all(by=self.actor, at=at, entries=entries)
        status = 201 if any(outcome.created for outcome in outcomes) else 200
        return Response(self.shown([o.row for o in outcomes], many=True), status=status)

    def _stream(self, request: Request, at: datetime) -> FileResponse:
        """Store the lines batch by batch; answer them after the last."""
        key = request.headers.get("Idempotency-Key")
        if key is not None:
            answers.check_key(key)
        summary = Counter(stored=0, repeated=0, refused=0)
        with ExitStack() as unless_answered:
            spool = unless_answered.enter_context(SpooledTemporaryFile(max_size=SPOOL_IN_MEMORY))
            lines = cast(Iterator[tuple[int, bytes | None]], request.data)
            with read_ahead(lines, CheckEntry, key) as batches:
                for batch in batches:
                    spool.write(answer_lines(batch, self.actor, summary))
            spool.write(json.dumps({"summary": summary}).encode() + b"\n")
            spool.seek(0)
            unless_answered.pop_all()
            return FileResponse(spool, content_type=NDJSON_TYPE)


def entries_of(data: list[Any]) -> list[dict[str, Any]]:
    """A posted list in shape; Malformed with a pointer to each thing wrong in any of them."""
    if len(data) > LIST_MAX:
        raise TooLarge.at(
            "",
            "too_many",
            f"{len(data)} checks in one list; send at most {LIST_MAX}, or stream NDJSON.",
        )
    entries, refusals = [], []
    for place, item in enumerate(data):
        try:
            entries.append(check_lines.take(item) or taken(CheckEntry, item))
        except DomainError as error:
            refusals.append(error.below(f"/{place}"))
    if refusals:
        raise checks.together(refusals)
    return entries


class OneVoltageCheck(OneDoor):
    resource = "voltage-checks"
    answer = CheckAnswer
    shown = VoltageChecks.shown

    def find(self, **keys: Any) -> VoltageCheck:
        return names.addressed(asked_facts(rows(), {}), keys["id"])


class VoidVoltageCheck(VoidDoor):
    answer = CheckAnswer
    shown = VoltageChecks.shown
    find = OneVoltageCheck.find
