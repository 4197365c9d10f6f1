"""trouble-codes/: what the control units of a car said."""

import json
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from packs.api.doors import CreateDoor, OneDoor, VoidDoor
from packs.api.facts import FactAnswer, FactQuery, asked_facts
from packs.api.fields import Instant, Opaque, QueryId, Text, optional
from packs.api.shapes import FactShape, supersedes
from packs.models import TroubleCode, Visit
from packs.reads import names
from packs.rules.trouble_codes import normalise_code
from packs.writes import trouble_codes
from packs.writes.recording import Outcome

FREEZE_FRAME_MAX = 16 * 1024  # bytes; a frame of 200 named values takes 6 kB


@extend_schema_field(OpenApiTypes.OBJECT)
class FreezeFrame(serializers.Field[Any, Any, Any, Any]):
    """What the control unit stored with the code: a JSON object of bounded size."""

    default_error_messages = {
        "not_an_object": "Not an object: send a JSON object of names and values.",
        "out_of_range": f"Larger than {FREEZE_FRAME_MAX} bytes; leave out what is not needed.",
    }

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        if not isinstance(data, dict):
            self.fail("not_an_object")
        if len(json.dumps(data)) > FREEZE_FRAME_MAX:
            self.fail("out_of_range")
        return data

    def to_representation(self, value: Any) -> Any:
        return value


class TroubleCodeEntry(FactShape):
    """A trouble code as it is sent; the failure type may stand behind the code, P0A80-1F."""

    visit = Opaque(Visit.PREFIX)
    code = Text(max_length=40)
    control_unit = optional(Text, max_length=100)
    status = optional(Text, max_length=100)
    failure_type = optional(Text, max_length=10)
    freeze_frame = FreezeFrame(required=False, allow_null=True)
    cleared_at = optional(Instant)
    supersedes = supersedes(TroubleCode.PREFIX)


class TroubleCodeAnswer(FactAnswer):
    """A trouble code as it is answered."""

    id = Opaque(TroubleCode.PREFIX, source="pk")
    visit = Opaque(Visit.PREFIX, source="visit_id")
    code = serializers.CharField()
    control_unit = serializers.CharField()
    status = serializers.CharField()
    failure_type = serializers.CharField()
    freeze_frame = FreezeFrame(allow_null=True)
    cleared_at = serializers.DateTimeField(allow_null=True)
    supersedes = Opaque(TroubleCode.PREFIX, source="supersedes_id", allow_null=True)


class TroubleCodeQuery(FactQuery):
    """Which trouble codes."""

    visit = QueryId(Visit.PREFIX, required=False)
    code = Text(max_length=40, required=False)
    control_unit = Text(max_length=100, required=False)


class TroubleCodes(CreateDoor):
    resource = "trouble-codes"
    entry = TroubleCodeEntry
    answer = TroubleCodeAnswer
    query = TroubleCodeQuery

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[TroubleCode]:
        columns = {"visit": "visit_id", "control_unit": "control_unit"}
        said = {columns[name]: value for name, value in asked.items() if name in columns}
        if "code" in asked:
            said["code"] = normalise_code(asked["code"])
        return asked_facts(TroubleCode.objects.all(), asked).filter(**said)

    def write(self, entry: dict[str, Any], at: datetime) -> Outcome[TroubleCode]:
        return trouble_codes.record_trouble_code(by=self.actor, at=at, entry=entry)

    def address(self, row: TroubleCode) -> str:
        return f"/api/v1/trouble-codes/{Opaque(TroubleCode.PREFIX).to_representation(row.pk)}/"


class OneTroubleCode(OneDoor):
    resource = "trouble-codes"
    answer = TroubleCodeAnswer

    def find(self, **keys: Any) -> TroubleCode:
        return names.addressed(asked_facts(TroubleCode.objects.all(), {}), keys["id"])


class VoidTroubleCode(VoidDoor):
    answer = TroubleCodeAnswer
    find = OneTroubleCode.find
