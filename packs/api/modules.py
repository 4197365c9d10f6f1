"""modules/: modules by their tags, where they came from and what state they are in."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from urllib.parse import quote

from django.db.models import OuterRef, QuerySet, Subquery
from rest_framework import serializers

from packs.api.doors import ChangeDoor, CreateDoor
from packs.api.fields import Choice, Code, Opaque, QueryId, Text, Whole, optional
from packs.api.keyed import KeyedAnswer
from packs.api.shapes import Shape
from packs.models import Module, Placement, Visit
from packs.reads import names
from packs.writes import modules
from packs.writes.recording import Outcome

CELLS_MAX = 200  # in series in one module; common practice has 6 to 12, no source for a limit


class ShelfShape(Shape):
    """Why a module is in its state, which generation it is of, and where it lies."""

    status_reason = optional(Text, max_length=1000)
    generation = optional(Text, max_length=40)
    shelf = optional(Text, max_length=40)


class ModuleEntry(ShelfShape):
    """A module as it is sent."""

    tag = Code()
    form = Choice(Module.Form.choices)
    cells = Whole(min_value=1, max_value=CELLS_MAX)
    lot = optional(Text, max_length=40, min_length=1)
    donor_pack = optional(Text, max_length=40, min_length=1)
    status = Choice(Module.Status.choices, required=False)


class ModuleChange(ShelfShape):
    """What may change of a module: its stock state, and the visit that it is reserved for."""

    status = Choice(Module.Status.choices)
    reserved_for = optional(Opaque, kind=Visit.PREFIX)
    done_by = Text(required=False, allow_null=True, max_length=40)


class ModuleAnswer(KeyedAnswer):
    """A module as it is answered; `pack` and `position` say where it sits, null while loose."""

    tag = serializers.CharField()
    form = serializers.ChoiceField(Module.Form.choices)
    cells = serializers.IntegerField()
    lot = serializers.CharField(source="lot.code", allow_null=True, default=None)
    donor_pack = serializers.CharField(source="donor_pack.serial", allow_null=True, default=None)
    status = serializers.ChoiceField(Module.Status.choices)
    status_reason = serializers.CharField()
    generation = serializers.CharField()
    shelf = serializers.CharField()
    reserved_for = Opaque(Visit.PREFIX, source="reserved_for_id", allow_null=True)
    pack = serializers.CharField(source="sits_in", allow_null=True)
    position = serializers.IntegerField(source="sits_at", allow_null=True)


class ModuleQuery(Shape):
    """Which modules; `pack` finds those that sit in it now."""

    status = Choice(Module.Status.choices, required=False)
    form = Choice(Module.Form.choices, required=False)
    cells = Whole(required=False)
    lot = Text(max_length=40, required=False)
    donor_pack = Text(max_length=40, required=False)
    generation = Text(max_length=40, required=False)
    shelf = Text(max_length=40, required=False)
    reserved_for = QueryId(Visit.PREFIX, required=False)
    pack = Text(max_length=40, required=False)


COLUMNS = {
    "status": "status",
    "form": "form",
    "cells": "cells",
    "lot": "lot__code",
    "donor_pack": "donor_pack__serial__upper",
    "reserved_for": "reserved_for_id",
}


def rows() -> QuerySet[Module]:
    """Modules with where each sits now."""
    present = Placement.objects.filter(module=OuterRef("pk"), removed_at__isnull=True)
    return Module.objects.select_related("lot", "donor_pack", "client").annotate(
        sits_in=Subquery(present.values("pack__serial")[:1]),
        sits_at=Subquery(present.values("position")[:1]),
    )


class Modules(CreateDoor):
    resource = "modules"
    entry = ModuleEntry
    answer = ModuleAnswer
    query = ModuleQuery
    orderings = ("tag", "-tag", "-recorded_at", "recorded_at")

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[Module]:
        said = dict(asked)
        if "donor_pack" in said:
            said["donor_pack"] = said["donor_pack"].upper()
        if "pack" in said:
            seats = Placement.objects.filter(pack__serial__upper=said.pop("pack").upper())
            said["pk__in"] = seats.filter(removed_at__isnull=True).values("module")
        return rows().filter(**{COLUMNS.get(name, name): value for name, value in said.items()})

    def write(self, entry: dict[str, Any], at: datetime) -> Outcome[Module]:
        outcome = modules.create_module(by=self.actor, at=at, entry=entry)
        return Outcome(rows().get(pk=outcome.row.pk), outcome.created)

    def address(self, row: Module) -> str:
        return f"/api/v1/modules/{quote(row.tag)}/"


class OneModule(ChangeDoor):
    resource = "modules"
    answer = ModuleAnswer
    change = ModuleChange

    def find(self, **keys: Any) -> Module:
        return names.keyed(rows(), tag=keys["tag"])

    def apply(self, changes: dict[str, Any], at: datetime, version: int) -> Module:
        changed = modules.change_module(
            self.row, by=self.actor, at=at, version=version, changes=changes
        )
        return rows().get(pk=changed.pk)
