"""part-tests/: tests of parts other than modules, and what they say of each figure."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from packs.api.doors import CreateDoor, OneDoor, VoidDoor
from packs.api.facts import FactAnswer, FactQuery, asked_facts
from packs.api.fields import Choice, Instant, Number, Opaque, QueryId, Text, Truth, optional
from packs.api.shapes import FactShape, Shape, supersedes
from packs.models import Component, PartTest, Visit
from packs.reads import names, part_verdicts
from packs.reads.part_verdicts import Judged
from packs.rules.bounds import CODE_LENGTH, SERIAL_LENGTH
from packs.writes import part_tests
from packs.writes.recording import Outcome

NAME_LENGTH = 60
FIGURE_MAX = 1e9  # of any unit; beyond any meter; common practice, no source
COLDEST_C, HOTTEST_C = -60.0, 300.0  # of a sensor or thermometer; common practice, no source


class Measured(Shape):
    """What was measured, or read off the plate; which of it belongs to which kind of part."""

    coil_ohm = optional(Number, max_value=FIGURE_MAX)
    contact_mohm = optional(Number, max_value=FIGURE_MAX)
    welded = optional(Truth)
    resistance_ohm = optional(Number, max_value=FIGURE_MAX)
    resistance_mohm = optional(Number, max_value=FIGURE_MAX)
    energy_j = optional(Number, max_value=FIGURE_MAX)
    rated_v = optional(Number, max_value=FIGURE_MAX)
    rated_a = optional(Number, max_value=FIGURE_MAX)
    breaking_a = optional(Number, max_value=FIGURE_MAX)
    offset_a = optional(Number, min_value=-FIGURE_MAX, max_value=FIGURE_MAX)
    current_a = optional(Number, max_value=FIGURE_MAX)
    shown_c = optional(Number, min_value=COLDEST_C, max_value=HOTTEST_C)
    thermometer_c = optional(Number, min_value=COLDEST_C, max_value=HOTTEST_C)
    interlock_ok = optional(Truth)
    leads_ok = optional(Truth)
    runs = optional(Truth)


class PartTestEntry(FactShape):
    """A test of a part as it is sent: by `component`, its tag, or by the `slot` of a pack.

    Without `pack` it is that of the visit, else the one that the part sat in; without `at` the
    test was made now.
    """

    visit = optional(Opaque, kind=Visit.PREFIX)
    pack = optional(Text, max_length=SERIAL_LENGTH, min_length=1)
    component = optional(Text, max_length=NAME_LENGTH, min_length=1)
    slot = optional(Text, max_length=NAME_LENGTH, min_length=1)
    kind = optional(Choice, choices=Component.Kinds.choices)
    measured = Measured()
    equipment = optional(Text, max_length=CODE_LENGTH, min_length=1)
    at = optional(Instant)
    note = optional(Text)
    supersedes = supersedes(PartTest.PREFIX)


class VerdictAnswer(serializers.Serializer[Any]):
    """One figure: whether it will do (null: nobody states what would), and the sentence."""

    figure = serializers.CharField()
    passes = serializers.BooleanField(allow_null=True)
    said = serializers.CharField()


class PartTestAnswer(FactAnswer):
    """A test of a part as it is answered; the verdicts that fail stand first."""

    id = Opaque(PartTest.PREFIX, source="pk")
    visit = Opaque(Visit.PREFIX, source="visit_id", allow_null=True)
    at = serializers.DateTimeField(source="happened_at")
    component = serializers.CharField(source="component.tag", allow_null=True, default=None)
    slot = serializers.SerializerMethodField()
    kind = serializers.ChoiceField(Component.Kinds.choices)
    measured = serializers.DictField()
    equipment = serializers.CharField(source="equipment.code", allow_null=True, default=None)
    note = serializers.CharField()
    verdict = serializers.SerializerMethodField()
    verdicts = serializers.SerializerMethodField()
    warnings = serializers.SerializerMethodField()
    supersedes = Opaque(PartTest.PREFIX, source="supersedes_id", allow_null=True)

    def get_slot(self, test: PartTest) -> str | None:
        return test.slot or None

    def get_verdict(self, test: PartTest) -> str:
        return self._judged(test).overall

    @extend_schema_field(VerdictAnswer(many=True))
    def get_verdicts(self, test: PartTest) -> Any:
        return VerdictAnswer(self._judged(test).verdicts, many=True).data

    def get_warnings(self, test: PartTest) -> list[str]:
        return list(self._judged(test).warnings)

    def _judged(self, test: PartTest) -> Judged:
        found: Judged = self.context["judged"][test.pk]
        return found


class PartTestQuery(FactQuery):
    """Which tests of parts."""

    visit = QueryId(Visit.PREFIX, required=False)
    component = Text(max_length=NAME_LENGTH, required=False)
    slot = Text(max_length=NAME_LENGTH, required=False)
    kind = Choice(Component.Kinds.choices, required=False)
    since = Instant(required=False)
    until = Instant(required=False)


COLUMNS = {
    "visit": "visit_id",
    "component": "component__tag",
    "slot": "slot",
    "kind": "kind",
    "since": "happened_at__gte",
    "until": "happened_at__lte",
}


def rows() -> QuerySet[PartTest]:
    return PartTest.objects.select_related("pack__pack_type", "component", "equipment")


def shown(row: Any, *, many: bool = False) -> Any:
    """Tests with their verdicts, judged all at once."""
    context = {"judged": part_verdicts.judged(row if many else [row])}
    return PartTestAnswer(row, many=many, context=context).data


class PartTests(CreateDoor):
    resource = "part-tests"
    entry = PartTestEntry
    answer = PartTestAnswer
    query = PartTestQuery
    orderings = ("-at", "at", "-recorded_at", "recorded_at")
    ordering_columns = {"at": "happened_at"}

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[PartTest]:
        columns = {COLUMNS[name]: value for name, value in asked.items() if name in COLUMNS}
        return asked_facts(rows(), asked).filter(**columns)

    def shown(self, row: Any, **kwargs: Any) -> Any:
        return shown(row, many=bool(kwargs.get("many")))

    def write(self, entry: dict[str, Any], at: datetime) -> Outcome[PartTest]:
        return part_tests.record_part_test(by=self.actor, at=at, entry=entry)

    def address(self, row: PartTest) -> str:
        return f"/api/v1/part-tests/{Opaque(PartTest.PREFIX).to_representation(row.pk)}/"


class OnePartTest(OneDoor):
    resource = "part-tests"
    answer = PartTestAnswer

    def find(self, **keys: Any) -> PartTest:
        found: QuerySet[PartTest] = asked_facts(rows(), {})
        return names.addressed(found, keys["id"])

    def shown(self, row: Any, **kwargs: Any) -> Any:
        return shown(row)


class VoidPartTest(VoidDoor):
    answer = PartTestAnswer
    find = OnePartTest.find
    shown = OnePartTest.shown
