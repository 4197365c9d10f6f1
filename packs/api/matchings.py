"""matchings/: modules proposed for positions of a pack, with why, and what was taken otherwise."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from packs.api.doors import CreateDoor, OneDoor, VoidDoor
from packs.api.facts import FactAnswer, FactQuery, asked_facts
from packs.api.fields import Choice, Instant, Opaque, QueryId, Serial, Text, Truth, Whole, optional
from packs.api.shapes import FactShape, Shape, supersedes
from packs.models import Matching, Module, Visit
from packs.reads import names
from packs.rules.bounds import POSITIONS_MAX
from packs.writes import matchings
from packs.writes.recording import Outcome

CANDIDATES_MAX = 2_000  # named in one matching; common practice, no source
BEFORE_JOINING = (
    "Bring all modules of the pack to equal charge before they are joined. Local codes and "
    "licensed practice decide who may do it; a record is no permission."
)


class OverruledEntry(Shape):
    """A position that somebody fills otherwise than proposed, and why."""

    position = Whole(min_value=1, max_value=POSITIONS_MAX)
    module = Text(max_length=40, min_length=1)
    reason = Text(max_length=500, min_length=1)


class MatchingEntry(FactShape):
    """A matching as it is asked for.

    Without `positions` all of the pack, without `candidates` all loose modules of the stock, of
    one form and generation: those said, else those of the modules that sit in the pack, else
    those that the stock has most of.
    """

    pack = Serial()
    visit = optional(Opaque, kind=Visit.PREFIX)
    at = optional(Instant)
    positions = serializers.ListField(
        child=Whole(min_value=1, max_value=POSITIONS_MAX),
        required=False,
        allow_null=True,
        max_length=POSITIONS_MAX,
    )
    candidates = serializers.ListField(
        child=Text(max_length=40, min_length=1),
        required=False,
        allow_null=True,
        max_length=CANDIDATES_MAX,
    )
    form = Choice(Module.Form.choices, required=False, allow_null=True)
    generation = optional(Text, max_length=40)
    keep_unmeasured = Truth(required=False)
    reserve = Truth(required=False)
    overruled = serializers.ListField(
        child=OverruledEntry(), required=False, max_length=POSITIONS_MAX
    )
    note = optional(Text)
    supersedes = supersedes(Matching.PREFIX)


class FiguresAnswer(serializers.Serializer[Any]):
    """Capacity, resistance and self-discharge."""

    capacity_ah = serializers.FloatField(allow_null=True)
    resistance_mohm = serializers.FloatField(allow_null=True)
    stand_mv_per_day = serializers.FloatField(allow_null=True)


class TakenAnswer(FiguresAnswer):
    """A module at a position: its figures, how far each is `off` the middle of the pack, and how
    far `apart` it is from the rest of its block, in units."""

    position = serializers.IntegerField()
    block = serializers.IntegerField()
    module = serializers.CharField()
    off = FiguresAnswer()
    apart = serializers.FloatField(allow_null=True)
    age_days = serializers.FloatField()
    why = serializers.CharField()


class SeatAnswer(serializers.Serializer[Any]):
    """A module at a position."""

    position = serializers.IntegerField()
    module = serializers.CharField()


class LeftOutAnswer(serializers.Serializer[Any]):
    """A candidate that was not proposed: what the sum would grow by, and why not."""

    module = serializers.CharField()
    more = serializers.FloatField(allow_null=True)
    why = serializers.CharField()


class OverruledAnswer(serializers.Serializer[Any]):
    """What was taken otherwise than proposed."""

    position = serializers.IntegerField()
    module = serializers.CharField()
    instead_of = serializers.CharField()
    reason = serializers.CharField()


class ProposalAnswer(serializers.Serializer[Any]):
    """What was proposed. The sum `total` is made least; nothing is better than `bound`; `gap` is
    the share between them. `unit` says what one unit of each figure is."""

    places = SeatAnswer(many=True)
    left_out = LeftOutAnswer(many=True)
    considered = serializers.IntegerField()
    not_eligible = serializers.IntegerField()
    middle = FiguresAnswer()
    unit = FiguresAnswer()
    total = serializers.FloatField()
    bound = serializers.FloatField()
    gap = serializers.FloatField()
    total_taken = serializers.FloatField()


class MatchingAnswer(FactAnswer):
    """A matching as it is answered."""

    id = Opaque(Matching.PREFIX, source="pk")
    visit = Opaque(Visit.PREFIX, source="visit_id", allow_null=True)
    at = serializers.DateTimeField(source="happened_at")
    positions = serializers.ListField(child=serializers.IntegerField(), source="asked.positions")
    candidates = serializers.ListField(
        child=serializers.CharField(), source="asked.candidates", allow_null=True
    )
    form = serializers.SerializerMethodField()
    generation = serializers.SerializerMethodField()
    keep_unmeasured = serializers.BooleanField(source="asked.keep_unmeasured")
    reserve = serializers.BooleanField(source="asked.reserve")
    proposed = ProposalAnswer()
    taken = TakenAnswer(many=True, source="proposed.taken")
    overruled = OverruledAnswer(many=True)
    note = serializers.CharField()
    before_joining = serializers.SerializerMethodField()
    supersedes = Opaque(Matching.PREFIX, source="supersedes_id", allow_null=True)

    @extend_schema_field(serializers.CharField(allow_null=True))
    def get_form(self, row: Matching) -> str | None:
        kind = row.proposed["kind"]
        return None if kind is None else str(kind[0])

    @extend_schema_field(serializers.CharField(allow_null=True))
    def get_generation(self, row: Matching) -> str | None:
        kind = row.proposed["kind"]
        return None if kind is None else str(kind[1])

    def get_before_joining(self, row: Matching) -> str:
        return BEFORE_JOINING


class MatchingQuery(FactQuery):
    """Which matchings."""

    visit = QueryId(Visit.PREFIX, required=False)
    since = Instant(required=False)
    until = Instant(required=False)


COLUMNS = {"visit": "visit_id", "since": "happened_at__gte", "until": "happened_at__lte"}


class Matchings(CreateDoor):
    resource = "matchings"
    entry = MatchingEntry
    answer = MatchingAnswer
    query = MatchingQuery
    orderings = ("-at", "at", "-recorded_at", "recorded_at")
    ordering_columns = {"at": "happened_at"}

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[Matching]:
        columns = {COLUMNS[name]: value for name, value in asked.items() if name in COLUMNS}
        return asked_facts(Matching.objects.all(), asked).filter(**columns)

    def write(self, entry: dict[str, Any], at: datetime) -> Outcome[Matching]:
        return matchings.record_matching(by=self.actor, at=at, entry=entry)

    def address(self, row: Matching) -> str:
        return f"/api/v1/matchings/{Opaque(Matching.PREFIX).to_representation(row.pk)}/"


class OneMatching(OneDoor):
    resource = "matchings"
    answer = MatchingAnswer

    def find(self, **keys: Any) -> Matching:
        return names.addressed(asked_facts(Matching.objects.all(), {}), keys["id"])


class VoidMatching(VoidDoor):
    answer = MatchingAnswer
    find = OneMatching.find
