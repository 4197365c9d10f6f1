"""photos/: photographs of packs, sent as base64 of a JPEG, PNG or WebP, kept as JPEG.

What the camera wrote beside the picture (place, device, owner) is not kept.
"""

import base64
import binascii
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiResponse, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request

from packs.api.doors import CreateDoor, OneDoor, VoidDoor
from packs.api.facts import FactAnswer, FactQuery, asked_facts
from packs.api.fields import Choice, Instant, Opaque, QueryId, Text, optional
from packs.api.schema import Schema
from packs.api.shapes import FactShape, Shape, supersedes
from packs.models import Photo, PhotoContent, Visit
from packs.reads import names
from packs.writes import photos
from packs.writes.recording import Outcome

AN_HOUR_S = 3600
ENCODED_MAX = 7 * 1024 * 1024  # characters: base64 of the largest picture, within one body
CACHED = f"private, max-age={AN_HOUR_S}"  # while one works on a pack; tablets are shared


@extend_schema_field({"type": "string", "contentEncoding": "base64"})
class Encoded(serializers.Field[Any, Any, Any, Any]):
    """Bytes as base64 (RFC 4648, 4)."""

    default_error_messages = {
        "not_base64": "Not base64: send the bytes of the picture so encoded (RFC 4648, 4)."
    }

    def to_internal_value(self, data: Any) -> bytes:
        if not isinstance(data, str) or not data or len(data) > ENCODED_MAX:
            self.fail("not_base64")
        try:
            return base64.b64decode(data, validate=True)
        except (binascii.Error, ValueError):
            self.fail("not_base64")


class PhotoEntry(FactShape):
    """A photograph as it is sent."""

    pack = Text(max_length=40)
    visit = optional(Opaque, kind=Visit.PREFIX)
    at = optional(Instant)
    note = optional(Text, max_length=200)
    image = Encoded()
    supersedes = supersedes(Photo.PREFIX)


class PhotoAnswer(FactAnswer):
    """A photograph as it is answered; `image` is where the picture itself is found."""

    id = Opaque(Photo.PREFIX, source="pk")
    visit = Opaque(Visit.PREFIX, source="visit_id", allow_null=True)
    at = serializers.DateTimeField(source="happened_at")
    note = serializers.CharField()
    width = serializers.IntegerField()
    height = serializers.IntegerField()
    image = serializers.SerializerMethodField()
    supersedes = Opaque(Photo.PREFIX, source="supersedes_id", allow_null=True)

    def get_image(self, photo: Photo) -> str:
        return f"{address(photo)}image/"


class PhotoQuery(FactQuery):
    """Which photographs."""

    visit = QueryId(Visit.PREFIX, required=False)


class ImageQuery(Shape):
    """How large."""

    size = Choice(["whole", "small"], required=False, default="whole")


def address(photo: Photo) -> str:
    return f"/api/v1/photos/{Opaque(Photo.PREFIX).to_representation(photo.pk)}/"


class Photos(CreateDoor):
    resource = "photos"
    entry = PhotoEntry
    answer = PhotoAnswer
    query = PhotoQuery
    orderings = ("-at", "at", "-recorded_at", "recorded_at")
    ordering_columns = {"at": "happened_at"}

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[Photo]:
        rows: QuerySet[Photo] = asked_facts(Photo.objects.all(), asked)
        return rows.filter(visit_id=asked["visit"]) if "visit" in asked else rows

    def write(self, entry: dict[str, Any], at: datetime) -> Outcome[Photo]:
        return photos.record_photo(by=self.actor, at=at, entry=entry)

    def address(self, row: Photo) -> str:
        return address(row)


class OnePhoto(OneDoor):
    resource = "photos"
    answer = PhotoAnswer

    def find(self, **keys: Any) -> Photo:
        return names.addressed(asked_facts(Photo.objects.all(), {}), keys["id"])


class VoidPhoto(VoidDoor):
    answer = PhotoAnswer
    find = OnePhoto.find


class ImageSchema(Schema):
    """The answer is the picture."""

    def _successes(self) -> dict[Any, Any]:
        return {("200", "image/jpeg"): OpenApiResponse(OpenApiTypes.BINARY)}


class PhotoImage(OneDoor):
    """The picture itself, as JPEG."""

    resource = "photos"
    query = ImageQuery
    schema = ImageSchema()
    find = OnePhoto.find

    def get(self, request: Request, **keys: Any) -> HttpResponse:  # type: ignore[override]
        size = self.asked()["size"]
        column = "small" if size == "small" else "jpeg"
        picture = PhotoContent.objects.values_list(column, flat=True).get(photo=self.row)
        headers = {"Cache-Control": CACHED, "Content-Disposition": "inline"}
        return HttpResponse(bytes(picture), content_type="image/jpeg", headers=headers)
