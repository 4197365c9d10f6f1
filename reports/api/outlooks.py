"""packs/{serial}/outlook/ and outlooks/: what the trend says will happen."""

from collections.abc import Mapping
from datetime import timedelta
from typing import Any

from django.db.models import F, QuerySet
from django.utils import timezone
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from packs.api.doors import ListDoor, OneDoor
from packs.api.fields import Choice, Instant, Number, Opaque, Text
from packs.api.shapes import Shape
from packs.errors import Malformed
from packs.models import Pack
from packs.reads import names
from reports.models import Outlook, StoredFit
from reports.models.outlooks import HORIZONS_DAYS
from reports.reads import outlooks as reading
from reports.writes import outlooks

CLOCK_ERROR = timedelta(minutes=5)  # of other people's clocks, forgiven


class LimitAnswer(serializers.Serializer[Any]):
    """When the limit is reached: dates by which it is with 10, 50 and 90 % probability."""

    p10 = serializers.DateField(allow_null=True)
    p50 = serializers.DateField(allow_null=True)
    p90 = serializers.DateField(allow_null=True)


class FitAnswer(serializers.Serializer[Any]):
    """The fit that the outlook was made from."""

    id = Opaque(StoredFit.PREFIX, source="pk")
    fitted_at = serializers.DateTimeField()
    facts_through = serializers.DateTimeField()


class OutlookAnswer(serializers.Serializer[Any]):
    """What the trend of a pack says will happen."""

    pack = serializers.CharField(source="pack.serial")
    as_of = serializers.DateTimeField()
    known_at = serializers.DateTimeField()
    level = serializers.ChoiceField(Outlook.Level.choices)
    spread_now_v = serializers.FloatField(allow_null=True)
    limit_v = serializers.FloatField()
    reference_load_a = serializers.FloatField()
    growth_per_year = serializers.FloatField(allow_null=True)
    failure_probability = serializers.SerializerMethodField()
    limit_reached_on = LimitAnswer(allow_null=True)
    weakest_position = serializers.IntegerField(allow_null=True)
    checks_used = serializers.IntegerField()
    since = serializers.DateTimeField(allow_null=True)
    reasons = serializers.ListField(child=serializers.CharField())
    series = serializers.CharField()
    pack_revision = serializers.IntegerField()
    fit = FitAnswer()

    def get_failure_probability(self, outlook: Outlook) -> dict[str, float]:
        return {str(days): getattr(outlook, f"p{days}") for days in HORIZONS_DAYS}


class OutlookQuery(Shape):
    """From which point of view: facts dated up to, and recorded by."""

    as_of = Instant(required=False)
    known_at = Instant(required=False)


class PackOutlook(OneDoor):
    resource = "outlooks"
    answer = OutlookAnswer
    query = OutlookQuery
    row: Pack

    def find(self, **keys: Any) -> Pack:
        return names.keyed(names.packs(), serial__upper=keys["serial"].upper())

    def get(self, request: Request, **keys: Any) -> Response:
        now = timezone.now()
        asked = self.asked()
        if not asked:
            return Response(self.shown(outlooks.present(self.row, at=now)))
        as_of, known_at = asked.get("as_of", now), asked.get("known_at", now)
        for name, instant in (("as_of", as_of), ("known_at", known_at)):
            if instant > now + CLOCK_ERROR:
                raise Malformed.at("", f"{name}_ahead", f"{name} lies ahead; give a past instant.")
        as_of, known_at = min(as_of, now), min(known_at, now)
        seen = outlooks.seen_from(self.row, as_of=as_of, known_at=known_at, at=now)
        return Response(self.shown(seen))


class OutlooksQuery(Shape):
    """Which packs: at a level, or likely enough to fail within a horizon."""

    level = Choice(Outlook.Level.choices, required=False)
    min_probability = Number(required=False, min_value=0, max_value=1)
    horizon = Choice([str(days) for days in HORIZONS_DAYS], required=False, default="180")
    pack_type = Text(required=False)
    status = Choice(Pack.Status.choices, required=False)
    told_at = Instant(required=False)


class Outlooks(ListDoor):
    """One refresh a listing: `next` and `previous` stay with the instant of the first page."""

    resource = "outlooks"
    answer = OutlookAnswer
    query = OutlooksQuery
    orderings = ("-probability", "probability")

    def rows(self, asked: Mapping[str, Any]) -> QuerySet[Outlook]:
        told_at = asked.get("told_at") or timezone.now()
        self.pinned = {"told_at": told_at.isoformat()}
        rows = reading.told_at(told_at).annotate(probability=F(f"p{asked['horizon']}"))
        if "min_probability" in asked:
            rows = rows.filter(probability__gte=asked["min_probability"])
        columns = {
            "level": "level",
            "pack_type": "pack__pack_type__code",
            "status": "pack__status",
        }
        return rows.filter(**{columns[n]: asked[n] for n in columns if n in asked})
