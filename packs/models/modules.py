"""Modules, where they came from, and where each one sat."""

from typing import ClassVar

from django.db import models
from django.db.models import F, Q

from packs.models.facts import Keyed


class Lot(Keyed):
    """Modules bought together."""

    PREFIX: ClassVar[str] = "lo"
    KIND: ClassVar[str] = "lot"

    code = models.CharField(max_length=40, unique=True)
    supplier = models.CharField(max_length=100, default="", blank=True)
    received_on = models.DateField(null=True)
    unit_cost = models.DecimalField(max_digits=10, decimal_places=2, null=True)
    count = models.PositiveIntegerField(null=True)
    origin_note = models.TextField(default="", blank=True)
    climate = models.CharField(max_length=100, default="", blank=True)


class Module(Keyed):
    """A module by its tag; `tag_alike` is what search compares."""

    PREFIX: ClassVar[str] = "mo"
    KIND: ClassVar[str] = "module"

    class Form(models.TextChoices):
        PRISMATIC = "prismatic"
        CYLINDRICAL = "cylindrical"
        POUCH = "pouch"

    class Status(models.TextChoices):
        FITTED = "fitted"
        STOCK = "stock"
        ON_TEST = "on_test"
        RESERVED = "reserved"
        QUARANTINED = "quarantined"
        SCRAPPED = "scrapped"

    tag = models.CharField(max_length=40, unique=True)
    tag_alike = models.CharField(max_length=120, default="", blank=True)
    form = models.CharField(max_length=12, choices=Form.choices)
    cells = models.PositiveSmallIntegerField()
    lot = models.ForeignKey(Lot, models.PROTECT, null=True, related_name="modules")
    donor_pack = models.ForeignKey(
        "packs.Pack", models.PROTECT, null=True, related_name="donated_modules"
    )
    status = models.CharField(max_length=12, choices=Status.choices, default=Status.STOCK)
    status_reason = models.TextField(default="", blank=True)
    generation = models.CharField(max_length=40, default="", blank=True)
    shelf = models.CharField(max_length=40, default="", blank=True)
    reserved_for = models.ForeignKey("packs.Visit", models.PROTECT, null=True, related_name="+")

    class Meta:
        indexes = [
            models.Index(fields=["tag_alike", "id"], name="module_found_by_tag"),
            models.Index(fields=["status", "id"], name="module_by_status"),
        ]


class Placement(models.Model):
    """A module at a position of a pack, from one instant to the next.

    Worked out from the swaps. A null module is one that nobody named; a null `fitted_at` is a
    module that was there before anything was recorded.
    """

    PREFIX: ClassVar[str] = "pl"

    class Orientation(models.TextChoices):
        NORMAL = "normal"
        REVERSED = "reversed"

    module = models.ForeignKey(Module, models.PROTECT, null=True, related_name="placements")
    pack = models.ForeignKey("packs.Pack", models.PROTECT, related_name="placements")
    position = models.PositiveSmallIntegerField()
    orientation = models.CharField(
        max_length=8, choices=Orientation.choices, default=Orientation.NORMAL
    )
    fitted_at = models.DateTimeField(null=True)
    removed_at = models.DateTimeField(null=True)
    fitted_by = models.ForeignKey("packs.SwapChange", models.PROTECT, null=True, related_name="+")

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(removed_at__isnull=True)
                | Q(fitted_at__isnull=True)
                | Q(removed_at__gt=F("fitted_at")),
                name="placement_ends_after_it_begins",
            ),
            models.CheckConstraint(
                condition=Q(position__gte=1), name="placement_position_from_one"
            ),
        ]
        indexes = [models.Index(fields=["pack", "position"], name="placement_by_pack")]
