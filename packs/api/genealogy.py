"""lots/{code}/packs/, packs/{serial}/donated/, modules/{tag}/packs/: which packs carry or carried
modules of an origin; packs/{serial}/origins/: where the modules of a pack came from."""

from collections.abc import Mapping, Sequence
from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from packs.api.doors import Door, ListDoor
from packs.api.fields import Money, Opaque, Truth
from packs.api.permissions import may
from packs.api.shapes import Shape
from packs.models import Customer, Lot, Module, Pack, Placement
from packs.reads import genealogy, names, yields
from packs.reads.genealogy import Carrier, Origin, Source
from packs.writes.actors import Actor


class StayAnswer(serializers.Serializer[Any]):
    """A module at a position; `since` null: from the beginning, `until` null: it sits there."""

    module = serializers.CharField()
    position = serializers.IntegerField()
    since = serializers.DateTimeField(allow_null=True)
    until = serializers.DateTimeField(allow_null=True)


class WhomToCallAnswer(serializers.Serializer[Any]):
    """Whom to call."""

    name = serializers.CharField(source="owner_name")
    phone = serializers.CharField(source="owner_phone")


class CarrierAnswer(serializers.Serializer[Any]):
    """A pack that carries modules of the origin, or did; the car that it sits in now, whose that
    is, and for desk and manager whom to call."""

    pack = serializers.CharField(source="serial")
    carries = serializers.BooleanField()
    vehicle = serializers.CharField(source="car.vin", allow_null=True, default=None)
    owner = serializers.SerializerMethodField()
    call = serializers.SerializerMethodField()
    stays = StayAnswer(many=True)

    @extend_schema_field({"type": ["string", "null"]})
    def get_owner(self, row: Carrier) -> str | None:
        number = row.car.owner_id if row.car else None
        return None if number is None else Opaque(Customer.PREFIX).to_representation(number)

    @extend_schema_field(WhomToCallAnswer(allow_null=True))
    def get_call(self, row: Carrier) -> Any:
        actor: Actor = self.context["actor"]
        if (
            row.car is None
            or row.car.owner_id is None
            or not may(actor.roles, "customers", write=False)
        ):
            return None
        return WhomToCallAnswer(row.car).data


class YieldAnswer(serializers.Serializer[Any]):
    """What came of an origin: counts of modules, what all cost, and each that passed."""

    modules = serializers.IntegerField()
    tested = serializers.IntegerField()
    passed = serializers.IntegerField()
    failed = serializers.IntegerField()
    fitted = serializers.IntegerField()
    in_stock = serializers.IntegerField()
    quarantined = serializers.IntegerField()
    scrapped = serializers.IntegerField()
    cost = Money(allow_null=True)
    cost_per_good = Money(allow_null=True)


class OriginAnswer(StayAnswer):
    """A stay in the pack, the lot and donor pack of its module, and what came of those."""

    module = serializers.CharField(source="row.module.tag")
    position = serializers.IntegerField(source="row.position")
    since = serializers.DateTimeField(source="row.fitted_at", allow_null=True)
    until = serializers.DateTimeField(source="row.removed_at", allow_null=True)
    lot = serializers.CharField(source="row.module.lot.code", allow_null=True, default=None)
    donor_pack = serializers.CharField(
        source="row.module.donor_pack.serial", allow_null=True, default=None
    )
    unit_cost = Money(source="row.module.lot.unit_cost", allow_null=True, default=None)
    lot_yield = YieldAnswer(source="lot", allow_null=True)
    donor_yield = YieldAnswer(source="donor", allow_null=True)


class PresentQuery(Shape):
    """`present=true` asks for what is so now, `false` for what is over."""

    present = Truth(required=False, allow_null=True, default=None)


class _Carriers(ListDoor):
    """Packs by serial, each with what sat where in it."""

    resource = "lots"
    answer = CarrierAnswer
    query = PresentQuery
    orderings = ("serial", "-serial")
    origin: Origin

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[Pack]:
        return genealogy.packs(self.origin, present=asked.get("present"))

    def shown(self, row: Sequence[Pack], **kwargs: Any) -> Any:
        found = genealogy.carriers(self.origin, [pack.pk for pack in row])
        by_pack = {carrier.pack_id: carrier for carrier in found}
        return super().shown([by_pack[pack.pk] for pack in row], **kwargs)


def lot(code: str) -> Lot:
    return names.keyed(Lot.objects.all(), code=code)


def pack(serial: str) -> Pack:
    return names.keyed(names.packs(), serial__upper=serial.upper())


class LotPacks(_Carriers):
    def locate(self, **keys: Any) -> None:
        self.origin = genealogy.of_lot(lot(keys["code"]))


class Donated(_Carriers):
    def locate(self, **keys: Any) -> None:
        self.origin = genealogy.of_donor(pack(keys["serial"]))


class ModulePacks(_Carriers):
    def locate(self, **keys: Any) -> None:
        self.origin = genealogy.of_module(names.keyed(Module.objects.all(), tag=keys["tag"]))


class Origins(ListDoor):
    resource = "lots"
    answer = OriginAnswer
    query = PresentQuery
    orderings = ("position", "-position", "id", "-id")
    row: Pack

    def locate(self, **keys: Any) -> None:
        self.row = pack(keys["serial"])

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[Placement]:
        rows = genealogy.stays_in(self.row)
        present = asked.get("present")
        return rows if present is None else rows.filter(removed_at__isnull=present)

    def shown(self, row: Sequence[Placement], **kwargs: Any) -> Any:
        told: list[Source] = genealogy.sources(row)
        return super().shown(told, **kwargs)


class _Yield(Door):
    resource = "lots"
    answer = YieldAnswer
    row: yields.Yield

    def get(self, request: Request, **keys: Any) -> Response:
        self.asked()
        return Response(self.shown(self.row))


class LotYield(_Yield):
    def locate(self, **keys: Any) -> None:
        found = lot(keys["code"])
        self.row = yields.of_lots([found])[found.pk]


class DonatedYield(_Yield):
    def locate(self, **keys: Any) -> None:
        found = pack(keys["serial"])
        self.row = yields.of_donors([found.pk])[found.pk]
