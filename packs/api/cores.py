"""cores/: old packs that are owed in exchange, the deposit held for each, and what became of it.

How a core goes on is told by the whole record again, with `supersedes`.
"""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from django.utils import timezone
from rest_framework import serializers

from packs.api.doors import CreateDoor, OneDoor, VoidDoor
from packs.api.facts import FactAnswer, FactQuery, asked_facts
from packs.api.fields import Choice, Day, Money, Opaque, QueryId, Text, Truth, optional
from packs.api.shapes import FactShape, supersedes
from packs.models import Core, Photo, Visit
from packs.reads import cores as read
from packs.reads import names, sites
from packs.writes import cores
from packs.writes.recording import Outcome

PHOTOS_MAX = 50  # of one core; common practice, no source


class CoreEntry(FactShape):
    """A core as it is sent."""

    pack = Text(max_length=40)
    visit = optional(Opaque, kind=Visit.PREFIX)
    deposit = Money()
    due_on = Day()
    state = Choice(Core.State.choices, required=False)
    reason = optional(Text)
    returned_on = optional(Day)
    complete = optional(Truth)
    opened = optional(Truth)
    flooded = optional(Truth)
    refund = optional(Money)
    photos: Any = serializers.ListField(
        child=Opaque(Photo.PREFIX), max_length=PHOTOS_MAX, required=False
    )
    supersedes = supersedes(Core.PREFIX)


class CoreAnswer(FactAnswer):
    """A core as it is answered."""

    id = Opaque(Core.PREFIX, source="pk")
    visit = Opaque(Visit.PREFIX, source="visit_id", allow_null=True)
    deposit = Money()
    due_on = serializers.DateField()
    state = serializers.ChoiceField(Core.State.choices)
    reason = serializers.CharField()
    returned_on = serializers.DateField(allow_null=True)
    complete = serializers.BooleanField(allow_null=True)
    opened = serializers.BooleanField(allow_null=True)
    flooded = serializers.BooleanField(allow_null=True)
    refund = Money(allow_null=True)
    photos = serializers.ListField(child=serializers.CharField())
    overdue = serializers.SerializerMethodField()
    supersedes = Opaque(Core.PREFIX, source="supersedes_id", allow_null=True)

    def get_overdue(self, core: Core) -> bool:
        return read.is_overdue(core, today=sites.day(timezone.now()))


class CoreQuery(FactQuery):
    """Which cores; `due_until` those due by that day, `overdue` those past it and not back."""

    visit = QueryId(Visit.PREFIX, required=False)
    state = Choice(Core.State.choices, required=False)
    due_until = Day(required=False)
    overdue = Truth(required=False, allow_null=True, default=None)


COLUMNS = {"visit": "visit_id", "state": "state", "due_until": "due_on__lte"}


class Cores(CreateDoor):
    resource = "cores"
    entry = CoreEntry
    answer = CoreAnswer
    query = CoreQuery
    orderings = ("-due_on", "due_on", "-recorded_at", "recorded_at")

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[Core]:
        columns = {COLUMNS[name]: value for name, value in asked.items() if name in COLUMNS}
        found: QuerySet[Core] = asked_facts(Core.objects.all(), asked).filter(**columns)
        wanted = asked.get("overdue")
        if wanted is None:
            return found
        late = read.overdue(today=sites.day(timezone.now())).values("pk")
        return found.filter(pk__in=late) if wanted else found.exclude(pk__in=late)

    def write(self, entry: dict[str, Any], at: datetime) -> Outcome[Core]:
        return cores.record_core(by=self.actor, at=at, entry=entry)

    def address(self, row: Core) -> str:
        return f"/api/v1/cores/{Opaque(Core.PREFIX).to_representation(row.pk)}/"


class OneCore(OneDoor):
    resource = "cores"
    answer = CoreAnswer

    def find(self, **keys: Any) -> Core:
        return names.addressed(asked_facts(Core.objects.all(), {}), keys["id"])


class VoidCore(VoidDoor):
    answer = CoreAnswer
    find = OneCore.find
