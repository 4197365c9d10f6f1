"""What the shop stands behind, and what was asked of it."""

from typing import ClassVar

from django.db import models

from packs.models.facts import Fact


class Warranty(Fact):
    """A promise: months and kilometres, whichever end first."""

    PREFIX: ClassVar[str] = "wa"
    KIND: ClassVar[str] = "warranty"

    class RepairKind(models.TextChoices):
        COMPONENT_SWAP = "component_swap"
        MODULE_SWAP = "module_swap"
        REBUILD = "rebuild"
        REPLACEMENT = "replacement"

    visit = models.ForeignKey("packs.Visit", models.PROTECT, null=True, related_name="+")
    repair_kind = models.CharField(max_length=20, choices=RepairKind.choices)
    starts_on = models.DateField()
    months = models.PositiveSmallIntegerField(null=True)
    km = models.PositiveIntegerField(null=True)
    starts_km = models.PositiveIntegerField(null=True)
    covers = models.TextField(default="", blank=True)
    excludes = models.TextField(default="", blank=True)
    labour = models.BooleanField(default=False)

    class Meta(Fact.Meta):
        constraints = [
            *Fact.Meta.constraints,
            models.CheckConstraint(
                condition=models.Q(months__isnull=False) | models.Q(km__isnull=False),
                name="warranty_ends_somehow",
            ),
        ]


class Claim(Fact):
    """A return under a warranty, and what was decided."""

    PREFIX: ClassVar[str] = "cl"
    KIND: ClassVar[str] = "claim"

    class Decision(models.TextChoices):
        OPEN = "open"
        ACCEPTED = "accepted"
        REFUSED = "refused"

    warranty = models.ForeignKey(Warranty, models.PROTECT, related_name="claims")
    visit = models.ForeignKey("packs.Visit", models.PROTECT, null=True, related_name="+")
    decision = models.CharField(max_length=10, choices=Decision.choices)
    reason = models.TextField(default="", blank=True)
    parts_cost = models.DecimalField(max_digits=10, decimal_places=2, null=True)
    labour_cost = models.DecimalField(max_digits=10, decimal_places=2, null=True)
    goodwill = models.DecimalField(max_digits=10, decimal_places=2, null=True)

    class Meta(Fact.Meta):
        pass
