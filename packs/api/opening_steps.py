"""What the steps of a teardown and of a reassembly are sent and answered with alike."""

from collections.abc import Mapping
from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from packs.api.facts import FactAnswer, FactQuery
from packs.api.fields import Choice, Instant, Opaque, QueryId, Text, Whole, optional
from packs.api.layouts import NAME_MAX, ROWS_MAX
from packs.api.shapes import FactShape, Shape
from packs.models import Part, Photo, Placement, Step, Visit
from packs.reads import lock_outs, openings
from packs.reads.openings import Opening
from packs.rules.bounds import CODE_LENGTH

PHOTOS_MAX = 50  # of one step; common practice, no source


class SeenShape(Shape):
    """How one position lies: only what was looked at."""

    position = Whole(min_value=1)
    orientation = Choice(Placement.Orientation.choices, required=False)
    sense_lead = optional(Text, max_length=NAME_MAX)
    clip = optional(Text, max_length=NAME_MAX)
    sensor = optional(Text, max_length=NAME_MAX)
    note = optional(Text, max_length=200)


class StepEntry(FactShape):
    """A step of the work as it is sent; without `at` it was done now."""

    visit = Opaque(Visit.PREFIX)
    done_by = Text(max_length=CODE_LENGTH, min_length=1)
    at = optional(Instant)
    places = serializers.ListField(
        child=Whole(), required=False, allow_null=True, max_length=ROWS_MAX
    )
    slot = optional(Text, max_length=NAME_MAX)
    seen = optional(SeenShape, many=True, max_length=ROWS_MAX)
    photos = serializers.ListField(
        child=Opaque(Photo.PREFIX), required=False, allow_null=True, max_length=PHOTOS_MAX
    )
    note = optional(Text)


class PieceAnswer(serializers.Serializer[Any]):
    """The largest piece still joined, as the visit stands now."""

    highest_v = serializers.FloatField()
    first = serializers.IntegerField()
    last = serializers.IntegerField()
    said = serializers.CharField()


class StepAnswer(FactAnswer):
    """A step of the work as it is answered; `pack_side` is what is live as the visit stands now."""

    visit = Opaque(Visit.PREFIX, source="visit_id")
    lock_out = Opaque("lk", source="lock_out_id")
    at = serializers.DateTimeField(source="happened_at")
    part = serializers.CharField()
    places = serializers.ListField(child=serializers.IntegerField())
    slot = serializers.CharField()
    seen = SeenShape(many=True)
    photos = serializers.ListField(child=serializers.CharField())
    note = serializers.CharField()
    pack_side = serializers.SerializerMethodField()

    @extend_schema_field(PieceAnswer)
    def get_pack_side(self, row: Any) -> dict[str, Any]:
        held = self._held("pack_sides")
        if row.visit_id not in held:
            held[row.visit_id] = piece_of(row.visit)
        told: dict[str, Any] = held[row.visit_id]
        return told

    def opening_of(self, row: Step) -> Opening:
        """How the pack of its visit lies now; worked out once a visit."""
        held = self._held("openings")
        if row.visit_id not in held:
            held[row.visit_id] = openings.state(row.visit)
        opening: Opening = held[row.visit_id]
        return opening

    def _held(self, name: str) -> dict[int, Any]:
        """What was worked out for one answer already, by visit."""
        context: Any = self.context
        held: dict[int, Any] = context.setdefault(name, {})
        return held


def piece_of(visit: Visit) -> dict[str, Any]:
    side = lock_outs.pieces(visit)
    piece = side.largest
    ends = {"highest_v": piece.highest_v, "first": piece.first, "last": piece.last}
    return {**ends, "said": side.said}


class StepQuery(FactQuery):
    """Which steps."""

    visit = QueryId(Visit.PREFIX, required=False)
    part = Choice(Part.choices, required=False)
    since = Instant(required=False)
    until = Instant(required=False)


COLUMNS: Mapping[str, str] = {
    "visit": "visit_id",
    "part": "part",
    "kind": "kind",
    "since": "happened_at__gte",
    "until": "happened_at__lte",
}


def columns_of(asked: Mapping[str, Any]) -> dict[str, Any]:
    return {COLUMNS[name]: value for name, value in asked.items() if name in COLUMNS}
