"""What a fit needs of each pack, kept between fits."""

from typing import ClassVar

from django.db import models


class PackStatistics(models.Model):
    """The sums over one pack's builds and landmarks, as they follow from its records.

    They hold as long as the pack is at `revision` and its limits are those of `ratings`, for any
    fit to facts dated up to `last_day` or later (days since 1970). `group` is empty where nothing
    is known of the pack. `figures` are little-endian doubles, as reports.trends.statistics tells;
    `builds`, `landmarks` and `followed` say how many of each there are.
    """

    PREFIX: ClassVar[str] = "ps"

    pack = models.OneToOneField("packs.Pack", models.PROTECT, primary_key=True, related_name="+")
    revision = models.PositiveBigIntegerField()
    ratings = models.CharField(max_length=120)
    group = models.CharField(max_length=80, blank=True)
    last_day = models.FloatField()
    builds = models.PositiveIntegerField()
    landmarks = models.PositiveIntegerField()
    followed = models.PositiveIntegerField()
    figures = models.BinaryField()
