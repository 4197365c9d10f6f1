"""visits/{id}/opening/: how the pack of a visit lies open now."""

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from packs.api.doors import OneDoor
from packs.api.opening_steps import PieceAnswer, SeenShape, piece_of
from packs.api.reassemblies import HalfVerdictAnswer
from packs.models import Visit
from packs.reads import names, openings
from packs.writes import gates


class ItemAnswer(serializers.Serializer[Any]):
    """One thing that is out."""

    part = serializers.CharField()
    place = serializers.IntegerField(allow_null=True)
    slot = serializers.CharField()


class TallyAnswer(serializers.Serializer[Any]):
    """Fasteners of one kind: of the type, out, back, and left."""

    kind = serializers.CharField()
    part = serializers.CharField()
    listed = serializers.IntegerField(allow_null=True)
    loose = serializers.BooleanField()
    out = serializers.IntegerField()
    back = serializers.IntegerField()
    left = serializers.IntegerField()


class PolarityAnswer(serializers.Serializer[Any]):
    """A rest voltage measured since the position was last open."""

    position = serializers.IntegerField()
    rest_v = serializers.FloatField()


class HalfAnswer(HalfVerdictAnswer):
    """One half of the string: its positions, and its verdict where it was measured."""

    half = serializers.IntegerField(source="number")
    first = serializers.IntegerField()
    last = serializers.IntegerField()


class OpeningAnswer(serializers.Serializer[Any]):
    """What is out, what was counted, what is proved again, and what stands in the way."""

    begun = serializers.BooleanField()
    out = ItemAnswer(many=True)
    fasteners = TallyAnswer(many=True)
    joints_open = serializers.SerializerMethodField()
    polarity = serializers.SerializerMethodField()
    polarity_missing = serializers.ListField(child=serializers.IntegerField())
    polarity_wrong = serializers.ListField(child=serializers.IntegerField())
    halves = HalfAnswer(many=True)
    equalised = serializers.BooleanField(allow_null=True)
    seen = serializers.SerializerMethodField()
    wants = serializers.SerializerMethodField()
    pack_side = serializers.SerializerMethodField()

    def get_joints_open(self, opening: openings.Opening) -> list[int]:
        return sorted(opening.joints_open)

    @extend_schema_field(PolarityAnswer(many=True))
    def get_polarity(self, opening: openings.Opening) -> Any:
        return [{"position": at, "rest_v": volts} for at, volts in opening.polarity.items()]

    @extend_schema_field(SeenShape(many=True))
    def get_seen(self, opening: openings.Opening) -> Any:
        return [vars(seat) for seat in opening.seen.values()]

    def get_wants(self, opening: openings.Opening) -> list[str]:
        return [*opening.out_said, *opening.unready]

    @extend_schema_field(PieceAnswer)
    def get_pack_side(self, opening: openings.Opening) -> Any:
        return piece_of(self.context["visit"])


class OneOpening(OneDoor):
    """How the pack of the visit lies now; 409 where the visit names no pack."""

    resource = "teardowns"
    answer = OpeningAnswer

    def find(self, **keys: Any) -> Visit:
        names.addressed(Visit.objects.all(), keys["id"])
        return gates.visit_with_pack(keys["id"])

    def shown(self, row: Any, **kwargs: Any) -> Any:
        return OpeningAnswer(openings.state(row), context={"visit": row}).data
