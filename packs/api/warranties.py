"""warranties/: what the shop stands behind, and until when."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from django.utils import timezone
from rest_framework import serializers

from packs.api.doors import CreateDoor, OneDoor, VoidDoor
from packs.api.facts import FactAnswer, FactQuery, asked_facts
from packs.api.fields import Choice, Day, Opaque, QueryId, Text, Truth, Whole, optional
from packs.api.shapes import FactShape, supersedes
from packs.models import Visit, Warranty
from packs.reads import names
from packs.reads.warranties import Term, terms
from packs.rules.bounds import FARTHEST_KM
from packs.writes import warranties
from packs.writes.recording import Outcome

MONTHS_MAX = 240  # twenty years; longer than a hybrid car lives, common practice, no source


class WarrantyEntry(FactShape):
    """A warranty as it is sent: months, km, or both, whichever end first."""

    pack = Text(max_length=40)
    visit = optional(Opaque, kind=Visit.PREFIX)
    repair_kind = Choice(Warranty.RepairKind.choices)
    starts_on = Day()
    months = optional(Whole, min_value=1, max_value=MONTHS_MAX)
    km = optional(Whole, min_value=1, max_value=FARTHEST_KM)
    starts_km = optional(Whole, max_value=FARTHEST_KM)
    covers = Text(required=False, allow_blank=True)
    excludes = Text(required=False, allow_blank=True)
    labour = Truth(required=False)
    supersedes = supersedes(Warranty.PREFIX)


class WarrantyAnswer(FactAnswer):
    """A warranty as it is answered, with its end.

    `ends_on` is the last day of cover: as many calendar months after `starts_on`, or the last day
    of a shorter month. `ends_km` is where the odometer of the car that the pack sits in now will
    stand; null where a reading that it needs was not written down. `runs_out` names the first
    warranty, where a replacement was given under a claim that was accepted on the same visit:
    both ends are then those of the first. `state` is not_begun before `starts_on`; running; ended
    after `ends_on`, or once the odometer was read above `ends_km`; voided.
    """

    id = Opaque(Warranty.PREFIX, source="pk")
    visit = Opaque(Visit.PREFIX, source="visit_id", allow_null=True)
    repair_kind = serializers.ChoiceField(Warranty.RepairKind.choices)
    starts_on = serializers.DateField()
    months = serializers.IntegerField(allow_null=True)
    km = serializers.IntegerField(allow_null=True)
    starts_km = serializers.IntegerField(allow_null=True)
    covers = serializers.CharField()
    excludes = serializers.CharField()
    labour = serializers.BooleanField()
    supersedes = Opaque(Warranty.PREFIX, source="supersedes_id", allow_null=True)
    ends_on = serializers.SerializerMethodField()
    ends_km = serializers.SerializerMethodField()
    state = serializers.SerializerMethodField()
    runs_out = serializers.SerializerMethodField()

    def get_ends_on(self, warranty: Warranty) -> str | None:
        day = self._term(warranty).ends_on
        return None if day is None else day.isoformat()

    def get_ends_km(self, warranty: Warranty) -> int | None:
        return self._term(warranty).ends_km

    def get_state(self, warranty: Warranty) -> str:
        return self._term(warranty).state

    def get_runs_out(self, warranty: Warranty) -> str | None:
        first = self._term(warranty).runs_out
        return None if first is None else Opaque(Warranty.PREFIX).to_representation(first)

    def _term(self, warranty: Warranty) -> Term:
        term: Term = self.context["terms"][warranty.pk]
        return term


class WarrantyQuery(FactQuery):
    """Which warranties."""

    repair_kind = Choice(Warranty.RepairKind.choices, required=False)
    visit = QueryId(Visit.PREFIX, required=False)
    starts_since = Day(required=False)
    starts_until = Day(required=False)


COLUMNS = {
    "repair_kind": "repair_kind",
    "visit": "visit_id",
    "starts_since": "starts_on__gte",
    "starts_until": "starts_on__lte",
}


class Warranties(CreateDoor):
    resource = "warranties"
    entry = WarrantyEntry
    answer = WarrantyAnswer
    query = WarrantyQuery
    orderings = ("-starts_on", "starts_on", "-recorded_at", "recorded_at")

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[Warranty]:
        columns = {COLUMNS[name]: value for name, value in asked.items() if name in COLUMNS}
        return asked_facts(Warranty.objects.all(), asked).filter(**columns)

    def shown(self, row: Any, **kwargs: Any) -> Any:
        found = terms(row if kwargs.get("many") else [row], at=timezone.now())
        return WarrantyAnswer(row, context={"terms": found}, **kwargs).data

    def write(self, entry: dict[str, Any], at: datetime) -> Outcome[Warranty]:
        return warranties.record_warranty(by=self.actor, at=at, entry=entry)

    def address(self, row: Warranty) -> str:
        return f"/api/v1/warranties/{Opaque(Warranty.PREFIX).to_representation(row.pk)}/"


class OneWarranty(OneDoor):
    resource = "warranties"
    answer = WarrantyAnswer
    shown = Warranties.shown

    def find(self, **keys: Any) -> Warranty:
        return names.addressed(asked_facts(Warranty.objects.all(), {}), keys["id"])


class VoidWarranty(VoidDoor):
    answer = WarrantyAnswer
    shown = Warranties.shown
    find = OneWarranty.find
