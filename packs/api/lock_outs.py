"""lock-outs/: the car side of a pack proved dead, and how high its own side stays live."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from packs.api.doors import CreateDoor, OneDoor, VoidDoor
from packs.api.facts import FactAnswer, FactQuery, asked_facts
from packs.api.fields import Instant, Number, Opaque, QueryId, Text, Truth, optional
from packs.api.shapes import FactShape, Shape, supersedes
from packs.models import LockOut, Visit
from packs.reads import lock_outs as reads
from packs.reads import names
from packs.rules import live
from packs.rules import lock_outs as rules
from packs.rules.arithmetic import Piece
from packs.rules.bounds import CODE_LENGTH, VOLTS_MAX
from packs.writes import lock_outs
from packs.writes.recording import Outcome

WAIT_MAX_MIN = 7 * 24 * 60.0  # a week; common practice, no source


class DoneEntry(Shape):
    """What was done to the car before anything was measured; left out: not confirmed."""

    key_away = Truth(required=False)
    twelve_v_off = Truth(required=False)
    switch_out = Truth(required=False)
    covers = Truth(required=False)


class WornEntry(Shape):
    """What protects the hands and the eyes; left out: not confirmed."""

    gloves_air_tested = Truth(required=False)
    protectors = Truth(required=False)
    eye_protection = Truth(required=False)
    insulated_tools = Truth(required=False)


class ReadingsEntry(Shape):
    """The car side after the wait, V."""

    plus_minus_v = Number(min_value=-VOLTS_MAX, max_value=VOLTS_MAX)
    plus_case_v = Number(min_value=-VOLTS_MAX, max_value=VOLTS_MAX)
    minus_case_v = Number(min_value=-VOLTS_MAX, max_value=VOLTS_MAX)


class LockOutEntry(FactShape):
    """A lock-out as it is sent; without `at` it was done now."""

    visit = Opaque(Visit.PREFIX)
    done_by = Text(max_length=CODE_LENGTH, min_length=1)
    at = optional(Instant)
    done = DoneEntry(required=False)
    switch_kept_by = Text(max_length=CODE_LENGTH, min_length=1)
    waited_min = Number(min_value=0, max_value=WAIT_MAX_MIN)
    meter = Text(max_length=CODE_LENGTH, min_length=1)
    source_v = Number(min_value=0, max_value=VOLTS_MAX)
    source_before_v = Number(min_value=-VOLTS_MAX, max_value=VOLTS_MAX)
    readings = ReadingsEntry()
    source_after_v = Number(min_value=-VOLTS_MAX, max_value=VOLTS_MAX)
    gloves = Text(max_length=CODE_LENGTH, min_length=1)
    worn = WornEntry(required=False)
    second_person = optional(Text, max_length=CODE_LENGTH, min_length=1)
    note = optional(Text)
    supersedes = supersedes(LockOut.PREFIX)


class DoneAnswer(serializers.Serializer[Any]):
    """What was confirmed of the car."""

    key_away = serializers.BooleanField()
    twelve_v_off = serializers.BooleanField()
    switch_out = serializers.BooleanField()
    covers = serializers.BooleanField()


class WornAnswer(serializers.Serializer[Any]):
    """What was confirmed of hands and eyes."""

    gloves_air_tested = serializers.BooleanField()
    protectors = serializers.BooleanField()
    eye_protection = serializers.BooleanField()
    insulated_tools = serializers.BooleanField()


class ReadingsAnswer(serializers.Serializer[Any]):
    """The car side, V."""

    plus_minus_v = serializers.FloatField()
    plus_case_v = serializers.FloatField()
    minus_case_v = serializers.FloatField()


class PackSideAnswer(serializers.Serializer[Any]):
    """What stayed live when it was recorded: the largest piece still joined."""

    highest_v = serializers.FloatField()
    first = serializers.IntegerField()
    last = serializers.IntegerField()
    said = serializers.CharField()


class LockOutAnswer(FactAnswer):
    """A lock-out as it is answered; `stands` until a re-energising ends it."""

    id = Opaque(LockOut.PREFIX, source="pk")
    visit = Opaque(Visit.PREFIX, source="visit_id")
    at = serializers.DateTimeField(source="happened_at")
    done = DoneAnswer()
    switch_kept_by = serializers.CharField(source="switch_kept_by.code")
    waited_min = serializers.FloatField()
    meter = serializers.CharField(source="meter.code")
    source_v = serializers.FloatField(source="readings.source_v")
    source_before_v = serializers.FloatField()
    readings = ReadingsAnswer()
    source_after_v = serializers.FloatField()
    touch_limit_v = serializers.FloatField()
    gloves = serializers.CharField(source="gloves.code")
    worn = WornAnswer()
    second_person = serializers.CharField(source="second_person.code", allow_null=True)
    note = serializers.CharField()
    supersedes = Opaque(LockOut.PREFIX, source="supersedes_id", allow_null=True)
    stands = serializers.SerializerMethodField()
    pack_side = serializers.SerializerMethodField()
    findings = serializers.SerializerMethodField()
    warnings = serializers.ListField(child=serializers.CharField(), source="done.warnings")

    def get_stands(self, row: LockOut) -> bool:
        ends = row.ends.all()
        return row.voided_at is None and not any(end.voided_at is None for end in ends)

    @extend_schema_field(PackSideAnswer)
    def get_pack_side(self, row: LockOut) -> dict[str, Any]:
        first, last = row.done["declared_live"]
        piece = Piece(first, last, row.highest_v)
        return {
            "highest_v": row.highest_v,
            "first": first,
            "last": last,
            "said": live.declared(piece),
        }

    def get_findings(self, row: LockOut) -> list[str]:
        return list(rules.findings(row.readings, row.waited_min))


class LockOutQuery(FactQuery):
    """Which lock-outs."""

    visit = QueryId(Visit.PREFIX, required=False)
    stands = Truth(required=False)
    since = Instant(required=False)
    until = Instant(required=False)


COLUMNS = {"visit": "visit_id", "since": "happened_at__gte", "until": "happened_at__lte"}


def rows() -> QuerySet[LockOut]:
    named = ("meter", "gloves", "switch_kept_by", "second_person")
    return LockOut.objects.select_related(*named).prefetch_related("ends")


class LockOuts(CreateDoor):
    resource = "lock-outs"
    entry = LockOutEntry
    answer = LockOutAnswer
    query = LockOutQuery
    orderings = ("-at", "at", "-recorded_at", "recorded_at")
    ordering_columns = {"at": "happened_at"}

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[LockOut]:
        columns = {COLUMNS[name]: value for name, value in asked.items() if name in COLUMNS}
        found = asked_facts(rows(), asked).filter(**columns)
        if "stands" not in asked:
            return found
        wanted = {"pk__in": reads.not_ended().values("pk")}
        return found.filter(**wanted) if asked["stands"] else found.exclude(**wanted)

    def write(self, entry: dict[str, Any], at: datetime) -> Outcome[LockOut]:
        return lock_outs.record_lock_out(by=self.actor, at=at, entry=entry)

    def address(self, row: LockOut) -> str:
        return f"/api/v1/lock-outs/{Opaque(LockOut.PREFIX).to_representation(row.pk)}/"


class OneLockOut(OneDoor):
    resource = "lock-outs"
    answer = LockOutAnswer

    def find(self, **keys: Any) -> LockOut:
        return names.addressed(asked_facts(rows(), {}), keys["id"])


class VoidLockOut(VoidDoor):
    answer = LockOutAnswer
    find = OneLockOut.find
