"""releases/: packs that leave the bench, with what each release rests on."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from packs.api.doors import CreateDoor, OneDoor, VoidDoor
from packs.api.facts import FactAnswer, FactQuery, asked_facts
from packs.api.fields import Choice, Instant, Number, Opaque, QueryId, Text, Truth, Whole, optional
from packs.api.shapes import FactShape, Shape, supersedes
from packs.api.warranties import MONTHS_MAX
from packs.models import (
    IsolationCheck,
    ReEnergising,
    Release,
    Visit,
    VoltageCheck,
    Warranty,
)
from packs.reads import names
from packs.rules.bounds import CURRENT_MAX_A, FARTHEST_KM
from packs.writes import releases
from packs.writes.recording import Outcome

ROAD_TEST_MAX_KM = 1_000  # of one road test; common practice, no source
ROAD_TEST_MAX_MIN = 24 * 60
REASON_MAX = 1_000  # characters
LOG_MAX = 20_000  # points of one log; common practice, no source


class RoadTestEntry(Shape):
    """A drive after the work, with the load that was logged."""

    distance_km = Number(min_value=0, max_value=ROAD_TEST_MAX_KM)
    minutes = optional(Number, min_value=0, max_value=ROAD_TEST_MAX_MIN)
    highest_current_a = Number(min_value=-CURRENT_MAX_A, max_value=CURRENT_MAX_A)
    lowest_current_a = optional(Number, min_value=-CURRENT_MAX_A, max_value=CURRENT_MAX_A)
    current_a = serializers.ListField(
        child=Number(min_value=-CURRENT_MAX_A, max_value=CURRENT_MAX_A),
        required=False,
        max_length=LOG_MAX,
    )
    note = optional(Text)


class PromiseEntry(Shape):
    """The warranty that begins with the release; what is left out is in the shop's own terms."""

    repair_kind = Choice(Warranty.RepairKind.choices)
    months = optional(Whole, min_value=1, max_value=MONTHS_MAX)
    km = optional(Whole, min_value=1, max_value=FARTHEST_KM)
    covers = Text(required=False, allow_blank=True)
    excludes = Text(required=False, allow_blank=True)
    labour = Truth(required=False)


class ReleaseEntry(FactShape):
    """A release as it is sent; who signs it is `done_by`.

    `over_limit_reason`: why a manager lets it leave with a spread above the type's limit; it is
    kept in the note.
    """

    visit = Opaque(Visit.PREFIX)
    done_by = Text(max_length=40)
    at = optional(Instant)
    codes_clear = Truth()
    road_test = RoadTestEntry()
    odometer_km = optional(Whole, max_value=FARTHEST_KM)
    warranty = PromiseEntry(required=False, allow_null=True)
    over_limit_reason = optional(Text, min_length=1, max_length=REASON_MAX)
    note = optional(Text)
    supersedes = supersedes(Release.PREFIX)


class ReleaseAnswer(FactAnswer):
    """A release as it is answered, with the records it rests on and the re-check it books."""

    id = Opaque(Release.PREFIX, source="pk")
    visit = Opaque(Visit.PREFIX, source="visit_id")
    at = serializers.DateTimeField(source="happened_at")
    codes_clear = serializers.BooleanField()
    road_test = serializers.DictField()
    odometer_km = serializers.IntegerField(allow_null=True)
    re_energising = Opaque(ReEnergising.PREFIX, source="re_energising_id", allow_null=True)
    isolation_check = Opaque(IsolationCheck.PREFIX, source="isolation_check_id", allow_null=True)
    rest_check = Opaque(VoltageCheck.PREFIX, source="rest_check_id")
    load_check = Opaque(VoltageCheck.PREFIX, source="load_check_id")
    warranty = Opaque(Warranty.PREFIX, source="warranty_id", allow_null=True)
    recheck_on = serializers.DateField()
    recheck_km = serializers.IntegerField(allow_null=True)
    note = serializers.CharField()
    supersedes = Opaque(Release.PREFIX, source="supersedes_id", allow_null=True)


class ReleaseQuery(FactQuery):
    """Which releases."""

    visit = QueryId(Visit.PREFIX, required=False)
    since = Instant(required=False)
    until = Instant(required=False)


COLUMNS = {"visit": "visit_id", "since": "happened_at__gte", "until": "happened_at__lte"}


class Releases(CreateDoor):
    resource = "releases"
    entry = ReleaseEntry
    answer = ReleaseAnswer
    query = ReleaseQuery
    orderings = ("-at", "at", "-recorded_at", "recorded_at")
    ordering_columns = {"at": "happened_at"}

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[Release]:
        columns = {COLUMNS[name]: value for name, value in asked.items() if name in COLUMNS}
        return asked_facts(Release.objects.all(), asked).filter(**columns)

    def write(self, entry: dict[str, Any], at: datetime) -> Outcome[Release]:
        return releases.record_release(by=self.actor, at=at, entry=entry)

    def address(self, row: Release) -> str:
        return f"/api/v1/releases/{Opaque(Release.PREFIX).to_representation(row.pk)}/"


class OneRelease(OneDoor):
    resource = "releases"
    answer = ReleaseAnswer

    def find(self, **keys: Any) -> Release:
        return names.addressed(asked_facts(Release.objects.all(), {}), keys["id"])


class VoidRelease(VoidDoor):
    answer = ReleaseAnswer
    find = OneRelease.find
