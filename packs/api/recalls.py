"""lots/{code}/quarantine/, packs/{serial}/donated/quarantine/: sets aside what came from an origin,
and answers whom that concerns."""

from datetime import datetime
from typing import Any

from django.utils import timezone
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from packs.api import genealogy as doors
from packs.api.doors import Door
from packs.api.fields import Text
from packs.api.genealogy import CarrierAnswer
from packs.api.schema import Schema
from packs.api.shapes import Shape
from packs.reads import genealogy
from packs.reads.genealogy import Origin
from packs.writes import recalls


class RecallEntry(Shape):
    """Why, and who says so."""

    reason = Text(min_length=1, max_length=1000)
    done_by = Text(required=False, allow_null=True, max_length=40)


class RecallAnswer(serializers.Serializer[Any]):
    """The modules set aside by this request, and every pack that carries one of the origin now."""

    modules = serializers.ListField(child=serializers.CharField())
    packs = CarrierAnswer(many=True)


class Done(Schema):
    """What is done is answered, and nothing was created."""

    def _successes(self) -> dict[Any, Any]:
        return {"200": self.view.answer}


class _Quarantine(Door):
    """POST quarantines every loose module of the origin; sent again, it finds nothing to do."""

    resource = "lots"
    schema = Done()
    entry = RecallEntry
    answer = RecallAnswer
    origin: Origin

    def post(self, request: Request, **keys: Any) -> Response:
        entry, at = self.body(RecallEntry), timezone.now()
        return self.once(at, lambda: Response(self._recalled(entry, at)))

    def _recalled(self, entry: dict[str, Any], at: datetime) -> Any:
        tags = recalls.quarantine_modules(self.origin.modules, by=self.actor, at=at, entry=entry)
        carrying = [one for one in genealogy.carriers(self.origin) if one.carries]
        return self.shown({"modules": tags, "packs": carrying})


class QuarantineLot(_Quarantine):
    def locate(self, **keys: Any) -> None:
        self.origin = genealogy.of_lot(doors.lot(keys["code"]))


class QuarantineDonated(_Quarantine):
    def locate(self, **keys: Any) -> None:
        self.origin = genealogy.of_donor(doors.pack(keys["serial"]))
