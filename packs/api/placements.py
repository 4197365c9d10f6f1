"""placements/: which module sat where, from when until when."""

from collections.abc import Mapping
from typing import Any

from django.db.models import Q, QuerySet
from rest_framework import serializers

from packs.api.doors import ListDoor, OneDoor
from packs.api.fields import Instant, Opaque, Text, Truth, Whole
from packs.api.shapes import Shape
from packs.models import Placement, Swap
from packs.reads import names


class PlacementAnswer(serializers.Serializer[Any]):
    """One interval: a null module is one nobody named, a null `fitted_at` was there before."""

    id = Opaque(Placement.PREFIX, source="pk")
    module = serializers.CharField(source="module.tag", allow_null=True, default=None)
    pack = serializers.CharField(source="pack.serial")
    position = serializers.IntegerField()
    orientation = serializers.ChoiceField(Placement.Orientation.choices)
    fitted_at = serializers.DateTimeField(allow_null=True)
    removed_at = serializers.DateTimeField(allow_null=True)
    swap = Opaque(Swap.PREFIX, source="fitted_by.swap_id", allow_null=True, default=None)


class PlacementQuery(Shape):
    """Which intervals; `present` those that have not ended, `at` those that held at an instant."""

    pack = Text(max_length=40, required=False)
    module = Text(max_length=40, required=False)
    position = Whole(required=False)
    present = Truth(required=False, allow_null=True, default=None)
    at = Instant(required=False)


def rows() -> QuerySet[Placement]:
    return Placement.objects.select_related("pack", "module", "fitted_by")


class Placements(ListDoor):
    resource = "placements"
    answer = PlacementAnswer
    query = PlacementQuery
    orderings = ("id", "-id", "position", "-position")

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[Placement]:
        found = rows()
        if "pack" in asked:
            found = found.filter(pack__serial__upper=asked["pack"].upper())
        if "module" in asked:
            found = found.filter(module__tag=asked["module"])
        if "position" in asked:
            found = found.filter(position=asked["position"])
        if asked.get("present") is not None:
            found = found.filter(removed_at__isnull=asked["present"])
        return found.filter(_held(asked["at"])) if "at" in asked else found


def _held(at: Any) -> Q:
    begun = Q(fitted_at__isnull=True) | Q(fitted_at__lte=at)
    return begun & (Q(removed_at__isnull=True) | Q(removed_at__gt=at))


class OnePlacement(OneDoor):
    resource = "placements"
    answer = PlacementAnswer

    def find(self, **keys: Any) -> Placement:
        return names.addressed(rows(), keys["id"])
