"""components/: parts other than modules by their tags, what they are rated for, where they sat."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from urllib.parse import quote

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from packs.api.doors import ChangeDoor, CreateDoor
from packs.api.fields import Choice, Code, Text, optional
from packs.api.keyed import KeyedAnswer
from packs.api.layouts import Ratings
from packs.api.shapes import Shape
from packs.models import Component, Pack
from packs.reads import component_places, names
from packs.reads.component_places import Sitting
from packs.writes import components
from packs.writes.recording import Outcome

NAME_LENGTH = 60


class ComponentChange(Shape):
    """What may change of a part; quarantined and scrapped say why."""

    part_number = optional(Text, max_length=NAME_LENGTH)
    ratings = Ratings(allow_null=True)
    status = Choice(Component.Status.choices, required=False)
    status_reason = optional(Text, max_length=1000)


class ComponentEntry(ComponentChange):
    """A part as it is sent."""

    tag = Code()
    kind = Choice(Component.Kinds.choices)
    donor_pack = optional(Text, max_length=40, min_length=1)


class IntervalAnswer(serializers.Serializer[Any]):
    """Where it sat, and from when until when; null where nothing began it, or it sits there."""

    pack = serializers.CharField(source="serial")
    slot = serializers.CharField()
    fitted_at = serializers.DateTimeField(allow_null=True)
    removed_at = serializers.DateTimeField(allow_null=True)


class ComponentAnswer(KeyedAnswer):
    """A part as it is answered; `pack` and `slot` say where it sits, null while loose."""

    tag = serializers.CharField()
    kind = serializers.ChoiceField(Component.Kinds.choices)
    part_number = serializers.CharField()
    ratings = serializers.DictField()
    donor_pack = serializers.CharField(source="donor_pack.serial", allow_null=True, default=None)
    status = serializers.ChoiceField(Component.Status.choices)
    status_reason = serializers.CharField()
    pack = serializers.SerializerMethodField()
    slot = serializers.SerializerMethodField()
    intervals = serializers.SerializerMethodField()

    def get_pack(self, row: Component) -> str | None:
        return next((one.serial for one in self._sat(row) if one.removed_at is None), None)

    def get_slot(self, row: Component) -> str | None:
        return next((one.slot for one in self._sat(row) if one.removed_at is None), None)

    @extend_schema_field(IntervalAnswer(many=True))
    def get_intervals(self, row: Component) -> Any:
        return IntervalAnswer(self._sat(row), many=True).data

    def _sat(self, row: Component) -> list[Sitting]:
        sat: list[Sitting] = self.context["sat"][row.tag]
        return sat


class ComponentQuery(Shape):
    """Which parts; `pack` finds those that sit in it now."""

    kind = Choice(Component.Kinds.choices, required=False)
    status = Choice(Component.Status.choices, required=False)
    donor_pack = Text(max_length=40, required=False)
    pack = Text(max_length=40, required=False)


COLUMNS = {"kind": "kind", "status": "status", "donor_pack": "donor_pack__serial__iexact"}


def rows() -> QuerySet[Component]:
    return Component.objects.select_related("client", "donor_pack")


def shown(row: Any, *, many: bool = False) -> Any:
    """Parts with where each sat, read for all of them at once."""
    tags = [one.tag for one in (row if many else [row])]
    context = {"sat": component_places.of(tags)}
    return ComponentAnswer(row, many=many, context=context).data


class Components(CreateDoor):
    resource = "components"
    entry = ComponentEntry
    answer = ComponentAnswer
    query = ComponentQuery
    orderings = ("tag", "-tag", "-recorded_at", "recorded_at")

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[Component]:
        said = {COLUMNS[name]: value for name, value in asked.items() if name in COLUMNS}
        if "pack" in asked:
            said["tag__in"] = _sitting_in(asked["pack"])
        return rows().filter(**said)

    def shown(self, row: Any, **kwargs: Any) -> Any:
        return shown(row, many=bool(kwargs.get("many")))

    def write(self, entry: dict[str, Any], at: datetime) -> Outcome[Component]:
        return components.create_component(by=self.actor, at=at, entry=entry)

    def address(self, row: Component) -> str:
        return f"/api/v1/components/{quote(row.tag)}/"


def _sitting_in(serial: str) -> list[str]:
    pack = Pack.objects.filter(serial__upper=serial.upper()).first()
    if pack is None:
        return []
    return [sitting.tag for sitting in component_places.in_pack(pack).values()]


class OneComponent(ChangeDoor):
    resource = "components"
    answer = ComponentAnswer
    change = ComponentChange

    def find(self, **keys: Any) -> Component:
        return names.keyed(rows(), tag=keys["tag"])

    def shown(self, row: Any, **kwargs: Any) -> Any:
        return shown(row)

    def apply(self, changes: dict[str, Any], at: datetime, version: int) -> Component:
        changed = components.change_component(
            self.row, by=self.actor, at=at, version=version, changes=changes
        )
        return rows().get(pk=changed.pk)
