"""module-tests/: tests of modules with their figures, their verdict and their raw series."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from packs.api.doors import CreateDoor, Door, OneDoor, VoidDoor
from packs.api.facts import FactAnswer, FactQuery, asked_facts
from packs.api.fields import Choice, Instant, Number, Opaque, QueryId, Text, Whole, optional
from packs.api.series import SeriesAnswer, SeriesEntry
from packs.api.shapes import FactShape, Shape, supersedes
from packs.errors import NotFound
from packs.models import ModuleTest, Placement, Visit
from packs.reads import module_tests as reads
from packs.reads import names
from packs.rules import bounds
from packs.rules.module_tests import READINGS_MAX
from packs.rules.module_verdicts import LOOKED_FOR
from packs.writes import module_tests
from packs.writes.recording import Outcome

VOLTS_MAX = bounds.VOLTS_MAX
AH_MAX, MOHM_MAX = 10_000.0, 1e6  # of one module; beyond any; common practice, no source
SECONDS_MAX = 1e7  # some four months; common practice, no source
CYCLES_MAX = 10_000
GRADE_MAX = 3
METHOD_LENGTH, CHANNEL_LENGTH = 100, 40
BESIDE = ("findings", "pack_type")  # kept with what was measured, told apart from it
VERDICTS = ("pass", "fail", "no_mark")


class ReadingEntry(Shape):
    """One reading of a stand."""

    at = Instant()
    voltage_v = Number(min_value=-VOLTS_MAX, max_value=VOLTS_MAX)
    temperature_c = optional(Number, min_value=bounds.COLDEST_C, max_value=bounds.HOTTEST_C)


def _volts() -> Any:
    return optional(Number, min_value=-VOLTS_MAX, max_value=VOLTS_MAX)


def _amps() -> Any:
    return optional(Number, min_value=-bounds.CURRENT_MAX_A, max_value=bounds.CURRENT_MAX_A)


class MeasuredEntry(Shape):
    """What was measured; which of it belongs to which kind of test is checked there."""

    current_a = _amps()
    duration_s = optional(Number, min_value=0, max_value=SECONDS_MAX)
    capacity_ah = optional(Number, min_value=0, max_value=AH_MAX)
    cut_off_v = optional(Number, min_value=0, max_value=VOLTS_MAX)
    u1_v = _volts()
    i1_a = _amps()
    u2_v = _volts()
    i2_a = _amps()
    pulse_s = optional(Number, min_value=0, max_value=SECONDS_MAX)
    resistance_mohm = optional(Number, min_value=0, max_value=MOHM_MAX)
    readings = serializers.ListField(
        child=ReadingEntry(), required=False, allow_null=True, max_length=READINGS_MAX
    )
    capacity_before_ah = optional(Number, min_value=0, max_value=AH_MAX)
    capacity_after_ah = optional(Number, min_value=0, max_value=AH_MAX)
    rest_v = _volts()
    load_v = _volts()
    after_s = optional(Number, min_value=0, max_value=SECONDS_MAX)


class SeenEntry(Shape):
    """What was seen of the module, 0 none to 3 strong."""

    swelling = optional(Whole, max_value=GRADE_MAX)
    venting = optional(Whole, max_value=GRADE_MAX)
    heat = optional(Whole, max_value=GRADE_MAX)


class ModuleTestEntry(FactShape):
    """A test as it is sent. Without `ended_at` it ended with its series, time or last reading;
    without `pack_type` it is judged by the marks of the pack that the module belongs to."""

    module = Text(max_length=bounds.CODE_LENGTH)
    kind = Choice(ModuleTest.Kinds.choices)
    started_at = Instant()
    ended_at = optional(Instant)
    temperature_c = optional(Number, min_value=bounds.COLDEST_C, max_value=bounds.HOTTEST_C)
    method = optional(Text, max_length=METHOD_LENGTH)
    equipment = optional(Text, max_length=bounds.CODE_LENGTH, min_length=1)
    channel = optional(Text, max_length=CHANNEL_LENGTH)
    cycle = optional(Whole, min_value=1, max_value=CYCLES_MAX)
    rest_before_min = optional(Number, min_value=0, max_value=SECONDS_MAX)
    charge_before_ah = optional(Number, min_value=0, max_value=AH_MAX)
    visit = optional(Opaque, kind=Visit.PREFIX)
    pack_type = optional(Text, max_length=bounds.CODE_LENGTH, min_length=1)
    measured = MeasuredEntry(required=False, allow_null=True)
    series = SeriesEntry(required=False, allow_null=True)
    findings = SeenEntry(required=False, allow_null=True)
    note = optional(Text)
    supersedes = supersedes(ModuleTest.PREFIX)


class ModuleTestAnswer(FactAnswer):
    """A test as it is answered. `computed` says how the figures were come by and what stands
    beside them; `verdict` holds them against the marks of the type that it was `judged_by`."""

    id = Opaque(ModuleTest.PREFIX, source="pk")
    module = serializers.CharField(source="module.tag")
    kind = serializers.ChoiceField(ModuleTest.Kinds.choices)
    started_at = serializers.DateTimeField()
    ended_at = serializers.DateTimeField()
    temperature_c = serializers.FloatField(allow_null=True)
    method = serializers.CharField()
    equipment = serializers.CharField(source="equipment.code", allow_null=True, default=None)
    channel = serializers.CharField()
    cycle = serializers.IntegerField(allow_null=True)
    rest_before_min = serializers.FloatField(allow_null=True)
    charge_before_ah = serializers.FloatField(allow_null=True)
    visit = Opaque(Visit.PREFIX, source="visit_id", allow_null=True)
    measured = serializers.SerializerMethodField()
    findings = serializers.SerializerMethodField()
    capacity_ah = serializers.FloatField(allow_null=True)
    resistance_mohm = serializers.FloatField(allow_null=True)
    stand_mv_per_day = serializers.FloatField(allow_null=True)
    computed = serializers.JSONField()
    verdict = serializers.ChoiceField(VERDICTS, source="computed.verdict")
    reasons = serializers.ListField(child=serializers.CharField(), source="computed.reasons")
    note = serializers.CharField()
    supersedes = Opaque(ModuleTest.PREFIX, source="supersedes_id", allow_null=True)

    @extend_schema_field(OpenApiTypes.OBJECT)
    def get_measured(self, row: ModuleTest) -> Any:
        return {name: value for name, value in row.measured.items() if name not in BESIDE}

    @extend_schema_field(OpenApiTypes.OBJECT)
    def get_findings(self, row: ModuleTest) -> Any:
        seen = row.measured.get("findings", {})
        return {name: seen.get(name, 0) for name in LOOKED_FOR}


class ModuleTestQuery(FactQuery):
    """Which tests; `pack` asks for those of the modules that sit in it now."""

    module = Text(max_length=bounds.CODE_LENGTH, required=False)
    kind = Choice(ModuleTest.Kinds.choices, required=False)
    since = Instant(required=False)
    until = Instant(required=False)
    lot = Text(max_length=40, required=False)
    donor_pack = Text(max_length=40, required=False)
    equipment = Text(max_length=bounds.CODE_LENGTH, required=False)
    visit = QueryId(Visit.PREFIX, required=False)


COLUMNS = {
    "module": "module__tag",
    "kind": "kind",
    "since": "ended_at__gte",
    "until": "ended_at__lte",
    "lot": "module__lot__code",
    "donor_pack": "module__donor_pack__serial__upper",
    "equipment": "equipment__code",
    "visit": "visit_id",
}


class ModuleTests(CreateDoor):
    resource = "module-tests"
    entry = ModuleTestEntry
    answer = ModuleTestAnswer
    query = ModuleTestQuery
    orderings = ("-ended_at", "ended_at", "-recorded_at", "recorded_at")

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[ModuleTest]:
        said = dict(asked)
        rows, pack = reads.rows(), said.pop("pack", None)
        if pack:
            seats = Placement.objects.filter(pack__serial__upper=pack.upper())
            rows = rows.filter(module__in=seats.filter(removed_at__isnull=True).values("module"))
        if "donor_pack" in said:
            said["donor_pack"] = said["donor_pack"].upper()
        columns = {COLUMNS[name]: value for name, value in said.items() if name in COLUMNS}
        return asked_facts(rows, said).filter(**columns)

    def write(self, entry: dict[str, Any], at: datetime) -> Outcome[ModuleTest]:
        return module_tests.record_module_test(by=self.actor, at=at, entry=entry)

    def address(self, row: ModuleTest) -> str:
        return f"/api/v1/module-tests/{Opaque(ModuleTest.PREFIX).to_representation(row.pk)}/"


class OneModuleTest(OneDoor):
    resource = "module-tests"
    answer = ModuleTestAnswer

    def find(self, **keys: Any) -> ModuleTest:
        return names.addressed(asked_facts(reads.rows(), {}), keys["id"])


class ModuleTestSeries(Door):
    """GET answers the raw series of a test."""

    resource = "module-tests"
    answer = SeriesAnswer

    def locate(self, **keys: Any) -> None:
        self.curve = reads.series_of(names.addressed(reads.rows(), keys["id"]))
        if self.curve is None:
            raise NotFound.at("", "no_series", "This test was told without a series.")

    def get(self, request: Request, **keys: Any) -> Response:
        self.asked()
        return Response(self.shown(self.curve))


class VoidModuleTest(VoidDoor):
    answer = ModuleTestAnswer
    find = OneModuleTest.find
