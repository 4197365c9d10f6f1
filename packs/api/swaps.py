"""swaps/: modules or other parts changed in one go, and what sat where because of it."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db.models import Q, QuerySet
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from packs.api.doors import CreateDoor, OneDoor, VoidDoor
from packs.api.facts import FactAnswer, FactQuery, asked_facts
from packs.api.fields import Choice, Instant, Opaque, QueryId, Text, Whole
from packs.api.shapes import FactShape, Shape, supersedes
from packs.models import Placement, Swap, SwapChange, Visit
from packs.reads import names
from packs.writes import swaps
from packs.writes.recording import Outcome

CHANGES_MAX = 500  # places in one swap; no pack of a hybrid car has as many
NAME_LENGTH = 60


class ChangeEntry(Shape):
    """One position or slot: what came out, what went in, and why.

    Without `orientation` a module lies as the type says, or normal where it says nothing.
    """

    position = Whole(required=False, allow_null=True)
    slot = Text(required=False, allow_null=True, max_length=NAME_LENGTH)
    removed = Text(required=False, allow_null=True, min_length=1, max_length=NAME_LENGTH)
    fitted = Text(required=False, allow_null=True, min_length=1, max_length=NAME_LENGTH)
    reason = Text(required=False, allow_blank=True, default="")
    orientation = Choice(Placement.Orientation.choices, required=False)


class SwapEntry(FactShape):
    """A swap as it is sent: of kind module with positions, or of kind component with slots."""

    pack = Text(max_length=40)
    done_at = Instant()
    visit = Opaque(Visit.PREFIX, required=False, allow_null=True)
    kind = Choice(Swap.Kinds.choices)
    changes: Any = serializers.ListSerializer(
        child=ChangeEntry(), allow_empty=False, max_length=CHANGES_MAX
    )
    supersedes = supersedes(Swap.PREFIX)


class ChangeAnswer(serializers.Serializer[Any]):
    """One position or slot: module tags, or the names of the parts; null where nobody said."""

    position = serializers.IntegerField(allow_null=True)
    slot = serializers.SerializerMethodField()
    removed = serializers.SerializerMethodField()
    fitted = serializers.SerializerMethodField()
    reason = serializers.CharField()
    orientation = serializers.ChoiceField(Placement.Orientation.choices)

    def get_slot(self, change: SwapChange) -> str | None:
        return change.slot or None

    def get_removed(self, change: SwapChange) -> str | None:
        return change.removed_part or None if change.removed is None else change.removed.tag

    def get_fitted(self, change: SwapChange) -> str | None:
        return change.fitted_part or None if change.fitted is None else change.fitted.tag


class SwapAnswer(FactAnswer):
    """A swap as it is answered; `starts_build` says that the pack's trend begins anew with it."""

    id = Opaque(Swap.PREFIX, source="pk")
    done_at = serializers.DateTimeField()
    visit = Opaque(Visit.PREFIX, source="visit_id", allow_null=True)
    kind = serializers.ChoiceField(Swap.Kinds.choices)
    starts_build = serializers.BooleanField()
    changes = serializers.SerializerMethodField()
    supersedes = Opaque(Swap.PREFIX, source="supersedes_id", allow_null=True)

    @extend_schema_field(ChangeAnswer(many=True))
    def get_changes(self, swap: Swap) -> Any:
        in_order = sorted(swap.changes.all(), key=lambda change: change.pk)
        return ChangeAnswer(in_order, many=True).data


class SwapQuery(FactQuery):
    """Which swaps; `module` finds those that took that tag out or put it in."""

    kind = Choice(Swap.Kinds.choices, required=False)
    visit = QueryId(Visit.PREFIX, required=False)
    done_since = Instant(required=False)
    done_until = Instant(required=False)
    module = Text(required=False, max_length=40)


COLUMNS = {
    "kind": "kind",
    "visit": "visit_id",
    "done_since": "done_at__gte",
    "done_until": "done_at__lte",
}


def rows() -> QuerySet[Swap]:
    return Swap.objects.prefetch_related("changes__removed", "changes__fitted")


class Swaps(CreateDoor):
    resource = "swaps"
    entry = SwapEntry
    answer = SwapAnswer
    query = SwapQuery
    orderings = ("-done_at", "done_at", "-recorded_at", "recorded_at")

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[Swap]:
        columns = {COLUMNS[name]: value for name, value in asked.items() if name in COLUMNS}
        found = asked_facts(rows(), asked).filter(**columns)
        if "module" not in asked:
            return found
        tag = asked["module"]
        naming = SwapChange.objects.filter(Q(removed__tag=tag) | Q(fitted__tag=tag))
        return found.filter(pk__in=naming.values("swap"))

    def write(self, entry: dict[str, Any], at: datetime) -> Outcome[Swap]:
        return swaps.record_swap(by=self.actor, at=at, entry=entry)

    def address(self, row: Swap) -> str:
        return f"/api/v1/swaps/{Opaque(Swap.PREFIX).to_representation(row.pk)}/"


class OneSwap(OneDoor):
    resource = "swaps"
    answer = SwapAnswer

    def find(self, **keys: Any) -> Swap:
        found: QuerySet[Swap] = asked_facts(rows(), {})
        return names.addressed(found, keys["id"])


class VoidSwap(VoidDoor):
    answer = SwapAnswer
    find = OneSwap.find
