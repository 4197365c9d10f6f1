"""pack-types/: what a pack is made of, and the limits it is held to."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from urllib.parse import quote

from django.db.models import QuerySet
from rest_framework import serializers

from packs.api.doors import ChangeDoor, CreateDoor, ListDoor
from packs.api.fields import Choice, Code, Number, Text, Whole, optional
from packs.api.keyed import KeyedAnswer
from packs.api.layouts import LayoutAnswer, LayoutShape
from packs.api.shapes import Shape
from packs.models import PackType, PackTypeVersion
from packs.models.types import Chemistry
from packs.reads import names
from packs.rules import arithmetic
from packs.rules.bounds import COLDEST_C, CURRENT_MAX_A, HOTTEST_C
from packs.writes import pack_types
from packs.writes.recording import Outcome

MODULES_MAX = 2000  # as many as one check has positions; common practice, no source
CELLS_MAX = 2000  # in series or parallel in one module; common practice, no source
SMALLEST = 0.001  # V, A or Ah: nothing that a pack is rated by is less
CELL_MAX_V = 10.0  # no cell of either chemistry comes near; common practice, no source
SPREAD_MAX_V = 1000.0  # more than any pack has; common practice, no source
CAPACITY_MAX_AH = 10_000.0


class RatingsChange(LayoutShape):
    """What may change from one version of a type to the next."""

    name = Text(max_length=100)
    max_cell_v = optional(Number, min_value=SMALLEST, max_value=CELL_MAX_V)
    rated_capacity_ah = Number(min_value=SMALLEST, max_value=CAPACITY_MAX_AH)
    reference_load_a = Number(min_value=SMALLEST, max_value=CURRENT_MAX_A)
    reference_temperature_c = optional(Number, min_value=COLDEST_C, max_value=HOTTEST_C)
    load_spread_limit_v = Number(min_value=SMALLEST, max_value=SPREAD_MAX_V)
    rest_spread_limit_v = Number(min_value=SMALLEST, max_value=SPREAD_MAX_V)
    limits_source = optional(Text)
    rest_current_max_a = optional(Number, min_value=0, max_value=CURRENT_MAX_A)
    monitor_order = serializers.ListField(
        child=Whole(min_value=1),
        required=False,
        allow_null=True,
        max_length=MODULES_MAX,
    )


class PackTypeEntry(RatingsChange):
    """A pack type as it is sent."""

    code = Code()
    chemistry = Choice(Chemistry.choices)
    module_count = Whole(min_value=1, max_value=MODULES_MAX)
    cells_per_module = Whole(min_value=1, max_value=CELLS_MAX)
    cells_in_parallel = optional(Whole, min_value=1, max_value=CELLS_MAX)
    cell_nominal_v = Number(min_value=SMALLEST, max_value=CELL_MAX_V)
    modules_per_block = optional(Whole, min_value=1, max_value=MODULES_MAX)
    blocks = serializers.ListField(
        child=Whole(min_value=1, max_value=MODULES_MAX),
        required=False,
        allow_null=True,
        max_length=MODULES_MAX,
    )
    nominal_v = optional(Number, min_value=0)


class RatingsAnswer(LayoutAnswer):
    """Ratings as they are answered."""

    name = serializers.CharField()
    max_cell_v = serializers.FloatField(allow_null=True)
    rated_capacity_ah = serializers.FloatField()
    reference_load_a = serializers.FloatField()
    reference_temperature_c = serializers.FloatField()
    load_spread_limit_v = serializers.FloatField()
    rest_spread_limit_v = serializers.FloatField()
    limits_source = serializers.CharField()
    rest_current_max_a = serializers.FloatField()
    monitor_order = serializers.ListField(child=serializers.IntegerField(), allow_null=True)


class PackTypeAnswer(RatingsAnswer, KeyedAnswer):
    """A pack type as it is answered, with the voltages that follow from it."""

    code = serializers.CharField()
    chemistry = serializers.ChoiceField(Chemistry.choices)
    module_count = serializers.IntegerField()
    cells_per_module = serializers.IntegerField()
    cells_in_parallel = serializers.IntegerField()
    cell_nominal_v = serializers.FloatField()
    modules_per_block = serializers.SerializerMethodField()
    blocks = serializers.ListField(child=serializers.IntegerField())
    block_count = serializers.IntegerField()
    nominal_v = serializers.SerializerMethodField()
    highest_v = serializers.SerializerMethodField()

    def get_modules_per_block(self, row: PackType) -> int | None:
        sizes = set(row.blocks)
        return sizes.pop() if len(sizes) == 1 else None

    def get_nominal_v(self, row: PackType) -> float:
        volts = arithmetic.nominal_v(row.module_count, row.cells_per_module, row.cell_nominal_v)
        return round(volts, 6)

    def get_highest_v(self, row: PackType) -> float | None:
        if row.max_cell_v is None:
            return None
        volts = arithmetic.highest_v(row.module_count, row.cells_per_module, row.max_cell_v)
        return round(volts, 6)


class PackTypeQuery(Shape):
    """Which pack types."""

    chemistry = Choice(Chemistry.choices, required=False)


class PackTypes(CreateDoor):
    resource = "pack-types"
    entry = PackTypeEntry
    answer = PackTypeAnswer
    query = PackTypeQuery
    orderings = ("code", "-code", "-recorded_at", "recorded_at")

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[PackType]:
        return PackType.objects.select_related("client").filter(**asked)

    def write(self, entry: dict[str, Any], at: datetime) -> Outcome[PackType]:
        return pack_types.create_pack_type(by=self.actor, at=at, entry=entry)

    def address(self, row: PackType) -> str:
        return f"/api/v1/pack-types/{quote(row.code)}/"


class OnePackType(ChangeDoor):
    resource = "pack-types"
    answer = PackTypeAnswer
    change = RatingsChange

    def find(self, **keys: Any) -> PackType:
        return names.keyed(PackType.objects.select_related("client"), code=keys["code"])

    def apply(self, changes: dict[str, Any], at: datetime, version: int) -> PackType:
        return pack_types.change_pack_type(
            self.row, by=self.actor, at=at, version=version, changes=changes
        )


class VersionAnswer(RatingsAnswer):
    """The ratings of a type from one change to the next."""

    number = serializers.IntegerField()
    recorded_at = serializers.DateTimeField()


class PackTypeVersions(ListDoor):
    resource = "pack-types"
    answer = VersionAnswer
    orderings = ("-number", "number")
    row: PackType

    def locate(self, **keys: Any) -> None:
        self.row = names.keyed(PackType.objects.all(), code=keys["code"])

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[PackTypeVersion]:
        return PackTypeVersion.objects.filter(pack_type=self.row)
