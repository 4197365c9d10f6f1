"""isolation-checks/: how well the string is isolated from its case, and where a leak sits."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from packs.api.doors import CreateDoor, OneDoor, VoidDoor
from packs.api.facts import FactAnswer, FactQuery, asked_facts
from packs.api.fields import Choice, Instant, Number, Opaque, QueryId, Text, Truth, optional
from packs.api.shapes import FactShape, supersedes
from packs.models import IsolationCheck, Visit
from packs.reads import isolation as reads
from packs.reads import names
from packs.rules import isolation
from packs.rules.bounds import CODE_LENGTH
from packs.rules.isolation_words import Judgement
from packs.writes import isolation_checks
from packs.writes.recording import Outcome

PACK_MAX_V = 2000.0  # voltage class B ends at 1500 V d.c.; a little room, no source
OHM_MAX = 1e12  # beyond any meter; common practice, no source
SHUNT_LEAST_OHM = 100.0  # a smaller one would be a short; common practice, no source
DIGITS = 6  # of a figure that is answered


class IsolationEntry(FactShape):
    """An isolation check as it is sent; without `at` it was made now.

    By two voltages: both sides to case, and the higher one again with `shunt_ohm` from that side
    to the case. With a tester: `isolation_ohm` and the voltage that it tested with.
    """

    visit = Opaque(Visit.PREFIX)
    scope = Choice(IsolationCheck.Scope.choices)
    method = Choice(IsolationCheck.Method.choices)
    wet = optional(Truth)
    pack_v = Number(min_value=1, max_value=PACK_MAX_V)
    plus_case_v = optional(Number, min_value=0, max_value=PACK_MAX_V)
    minus_case_v = optional(Number, min_value=0, max_value=PACK_MAX_V)
    shunted_v = optional(Number, min_value=0, max_value=PACK_MAX_V)
    shunt_ohm = optional(Number, min_value=SHUNT_LEAST_OHM, max_value=OHM_MAX)
    test_v = optional(Number, min_value=1, max_value=5 * PACK_MAX_V)
    isolation_ohm = optional(Number, min_value=0, max_value=OHM_MAX)
    equipment = optional(Text, max_length=CODE_LENGTH, min_length=1)
    at = optional(Instant)
    note = optional(Text)
    supersedes = supersedes(IsolationCheck.PREFIX)


class PlaceAnswer(serializers.Serializer[Any]):
    """Where a single leak sits: modules from the negative end, and its position."""

    from_negative = serializers.FloatField()
    position = serializers.IntegerField()
    beside = serializers.IntegerField(allow_null=True)


class IsolationAnswer(FactAnswer):
    """An isolation check as it is answered, with what follows from it.

    `single_leak_ohm` is the true value, and `place` the place, where it is one leak; `passes` says
    whether the lower of both will do where it was measured.
    """

    id = Opaque(IsolationCheck.PREFIX, source="pk")
    visit = Opaque(Visit.PREFIX, source="visit_id")
    at = serializers.DateTimeField(source="happened_at")
    scope = serializers.ChoiceField(IsolationCheck.Scope.choices)
    method = serializers.ChoiceField(IsolationCheck.Method.choices)
    wet = serializers.BooleanField()
    pack_v = serializers.FloatField()
    plus_case_v = serializers.FloatField(allow_null=True)
    minus_case_v = serializers.FloatField(allow_null=True)
    shunted_v = serializers.FloatField(allow_null=True)
    shunt_ohm = serializers.FloatField(allow_null=True)
    test_v = serializers.FloatField(allow_null=True)
    isolation_ohm = serializers.SerializerMethodField()
    single_leak_ohm = serializers.SerializerMethodField()
    place = serializers.SerializerMethodField()
    ohm_per_v = serializers.SerializerMethodField()
    least_ohm_per_v = serializers.SerializerMethodField()
    asked_ohm_per_v = serializers.SerializerMethodField()
    verdict = serializers.SerializerMethodField()
    passes = serializers.SerializerMethodField()
    said = serializers.SerializerMethodField()
    warnings = serializers.SerializerMethodField()
    equipment = serializers.CharField(source="equipment.code", allow_null=True, default=None)
    note = serializers.CharField()
    supersedes = Opaque(IsolationCheck.PREFIX, source="supersedes_id", allow_null=True)

    def get_isolation_ohm(self, check: IsolationCheck) -> float:
        return _rounded(check.isolation_ohm)

    def get_single_leak_ohm(self, check: IsolationCheck) -> float | None:
        leak = reads.leak(check)
        return None if leak is None else _rounded(leak.true_ohm)

    @extend_schema_field(PlaceAnswer(allow_null=True))
    def get_place(self, check: IsolationCheck) -> Any:
        leak = reads.leak(check)
        if leak is None or check.pack is None:
            return None
        place = isolation.place(leak.from_minus, check.pack.pack_type.module_count)
        return {**PlaceAnswer(place).data, "from_negative": _rounded(place.from_negative)}

    def get_ohm_per_v(self, check: IsolationCheck) -> float:
        return _rounded(self._judged(check).ohm_per_v)

    def get_least_ohm_per_v(self, check: IsolationCheck) -> float:
        return _rounded(self._judged(check).least_ohm_per_v)

    def get_asked_ohm_per_v(self, check: IsolationCheck) -> float:
        return self._judged(check).asked_ohm_per_v

    def get_verdict(self, check: IsolationCheck) -> str:
        return self._judged(check).verdict

    def get_passes(self, check: IsolationCheck) -> bool:
        return self._judged(check).passes

    def get_said(self, check: IsolationCheck) -> list[str]:
        told = self._judged(check)
        return [part for part in (told.said, told.place_said, *told.notes) if part]

    def get_warnings(self, check: IsolationCheck) -> list[str]:
        return reads.warnings(check)

    def _judged(self, check: IsolationCheck) -> Judgement:
        return reads.judged(check)


def _rounded(figure: float) -> float:
    return float(f"{figure:.{DIGITS}g}")


class IsolationQuery(FactQuery):
    """Which isolation checks."""

    visit = QueryId(Visit.PREFIX, required=False)
    scope = Choice(IsolationCheck.Scope.choices, required=False)
    since = Instant(required=False)
    until = Instant(required=False)


COLUMNS = {
    "visit": "visit_id",
    "scope": "scope",
    "since": "happened_at__gte",
    "until": "happened_at__lte",
}


def rows() -> QuerySet[IsolationCheck]:
    return IsolationCheck.objects.select_related("pack__pack_type", "equipment")


class IsolationChecks(CreateDoor):
    resource = "isolation-checks"
    entry = IsolationEntry
    answer = IsolationAnswer
    query = IsolationQuery
    orderings = ("-at", "at", "-recorded_at", "recorded_at")
    ordering_columns = {"at": "happened_at"}

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[IsolationCheck]:
        columns = {COLUMNS[name]: value for name, value in asked.items() if name in COLUMNS}
        return asked_facts(rows(), asked).filter(**columns)

    def write(self, entry: dict[str, Any], at: datetime) -> Outcome[IsolationCheck]:
        return isolation_checks.record_isolation_check(by=self.actor, at=at, entry=entry)

    def address(self, row: IsolationCheck) -> str:
        return (
            f"/api/v1/isolation-checks/{Opaque(IsolationCheck.PREFIX).to_representation(row.pk)}/"
        )


class OneIsolationCheck(OneDoor):
    resource = "isolation-checks"
    answer = IsolationAnswer

    def find(self, **keys: Any) -> IsolationCheck:
        found: QuerySet[IsolationCheck] = asked_facts(rows(), {})
        return names.addressed(found, keys["id"])


class VoidIsolationCheck(VoidDoor):
    answer = IsolationAnswer
    find = OneIsolationCheck.find
