"""Estimates as they were given."""

from typing import ClassVar

from django.db import models
from django.db.models import Q


class Outlook(models.Model):
    """One estimate of one pack, with the revision and the fit that it was made from.

    It was the one told from `known_at` until `told_until`, or still is where that is null; one
    made for a past `as_of` is never told as the present one, and ends when it begins.
    """

    PREFIX: ClassVar[str] = "ou"

    class Level(models.TextChoices):
        TOO_LITTLE_DATA = "too_little_data"
        SETTLED = "settled"
        DRIFTING = "drifting"
        NEAR_LIMIT = "near_limit"
        OVER_LIMIT = "over_limit"

    pack = models.ForeignKey("packs.Pack", models.PROTECT, related_name="outlooks")
    pack_revision = models.PositiveBigIntegerField()
    fit = models.ForeignKey("reports.StoredFit", models.PROTECT, related_name="outlooks")
    as_of = models.DateTimeField()
    known_at = models.DateTimeField()
    told_until = models.DateTimeField(null=True)
    level = models.CharField(max_length=15, choices=Level.choices)
    spread_now_v = models.FloatField(null=True)
    limit_v = models.FloatField()
    reference_load_a = models.FloatField()
    growth_per_year = models.FloatField(null=True)
    p30 = models.FloatField()
    p90 = models.FloatField()
    p180 = models.FloatField()
    p365 = models.FloatField()
    limit_reached_on = models.JSONField(null=True)
    weakest_position = models.PositiveSmallIntegerField(null=True)
    checks_used = models.PositiveIntegerField()
    since = models.DateTimeField(null=True)
    series = models.CharField(max_length=15)
    reasons = models.JSONField()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["pack"], condition=Q(told_until__isnull=True), name="outlook_one_present"
            ),
            models.CheckConstraint(
                condition=Q(p30__gte=0, p365__lte=1)
                & Q(p30__lte=models.F("p90"))
                & Q(p90__lte=models.F("p180"))
                & Q(p180__lte=models.F("p365")),
                name="outlook_probabilities_rise",
            ),
        ]
        indexes = [
            models.Index(fields=["pack", "known_at"], name="outlook_by_pack"),
            *(
                models.Index(
                    fields=[f"p{days}"],
                    condition=Q(told_until__isnull=True),
                    name=f"outlook_present_p{days}",
                )
                for days in (30, 90, 180, 365)
            ),
        ]


HORIZONS_DAYS = (30, 90, 180, 365)
