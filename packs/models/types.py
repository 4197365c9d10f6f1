"""Pack types: what a pack is made of, and the limits it is held to, version by version."""

from typing import ClassVar

from django.db import models
from django.db.models import F, Q

from packs.models.facts import Keyed
from packs.rules.layouts import Layout, layout_of

REFERENCE_TEMPERATURE_C = 25.0
REST_CURRENT_MAX_A = 5.0  # a car that is switched on still draws; common practice, no source


class Chemistry(models.TextChoices):
    NIMH = "nimh"
    LI_ION = "li_ion"


class Ratings(models.Model):
    """What may change from one version of a type to the next."""

    name = models.CharField(max_length=100)
    max_cell_v = models.FloatField(null=True)
    rated_capacity_ah = models.FloatField()
    reference_load_a = models.FloatField()
    reference_temperature_c = models.FloatField(default=REFERENCE_TEMPERATURE_C)
    load_spread_limit_v = models.FloatField()
    rest_spread_limit_v = models.FloatField()
    limits_source = models.TextField(default="", blank=True)
    rest_current_max_a = models.FloatField(default=REST_CURRENT_MAX_A)
    monitor_order = models.JSONField(null=True)
    bench = models.JSONField(default=dict)  # what the bench needs; its keys: packs/rules/layouts

    class Meta:
        abstract = True

    @property
    def layout(self) -> Layout:
        """What the type says for the bench, made complete."""
        return layout_of(self.bench)


RATINGS = tuple(field.name for field in Ratings._meta.local_fields)


class PackType(Ratings, Keyed):
    """A kind of pack; what it is made of never changes, its ratings do."""

    PREFIX: ClassVar[str] = "pt"
    KIND: ClassVar[str] = "pack_type"

    code = models.CharField(max_length=40, unique=True)
    chemistry = models.CharField(max_length=10, choices=Chemistry.choices)
    module_count = models.PositiveSmallIntegerField()
    cells_per_module = models.PositiveSmallIntegerField()
    cells_in_parallel = models.PositiveSmallIntegerField(default=1)
    cell_nominal_v = models.FloatField()
    blocks = models.JSONField()  # modules in each, in order of position
    block_count = models.PositiveSmallIntegerField()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(
                    module_count__gte=1,
                    cells_per_module__gte=1,
                    cells_in_parallel__gte=1,
                    block_count__gte=1,
                    block_count__lte=F("module_count"),
                ),
                name="packtype_has_parts",
            ),
            models.CheckConstraint(
                condition=Q(
                    cell_nominal_v__gt=0,
                    rated_capacity_ah__gt=0,
                    reference_load_a__gt=0,
                    load_spread_limit_v__gt=0,
                    rest_spread_limit_v__gt=0,
                ),
                name="packtype_ratings_are_positive",
            ),
        ]


class PackTypeVersion(Ratings):
    """The ratings of a type from one change to the next, so that a new limit has no past."""

    pack_type = models.ForeignKey(PackType, models.PROTECT, related_name="versions")
    number = models.PositiveIntegerField()
    recorded_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["pack_type", "number"], name="packtypeversion_once")
        ]
