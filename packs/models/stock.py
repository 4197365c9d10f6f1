"""Stock: what was proposed for a pack, what left the shop for good, and what things cost."""

from typing import ClassVar

from django.db import models
from django.db.models import Q

from packs.models.facts import Fact, Keyed


class Matching(Fact):
    """Modules proposed for positions of a pack, with why; and what was taken otherwise, and why.

    `asked` holds candidates and targets as they were asked, `proposed` the answer as it was
    given, `overruled` the positions that somebody filled otherwise, each with a reason.
    """

    PREFIX: ClassVar[str] = "mg"
    KIND: ClassVar[str] = "matching"

    visit = models.ForeignKey("packs.Visit", models.PROTECT, null=True, related_name="+")
    happened_at = models.DateTimeField()
    asked = models.JSONField(default=dict)
    proposed = models.JSONField(default=dict)
    overruled = models.JSONField(default=list)
    note = models.TextField(default="", blank=True)

    class Meta(Fact.Meta):
        indexes = [models.Index(fields=["pack", "happened_at"], name="matching_by_pack")]


class Disposal(Fact):
    """Modules and parts that went to a recycler, by weight."""

    PREFIX: ClassVar[str] = "di"
    KIND: ClassVar[str] = "disposal"

    happened_at = models.DateTimeField()
    recycler = models.CharField(max_length=100)
    reference = models.CharField(max_length=100, default="", blank=True)
    weight_kg = models.FloatField()
    note = models.TextField(default="", blank=True)

    class Meta(Fact.Meta):
        constraints = [
            *Fact.Meta.constraints,
            models.CheckConstraint(condition=Q(weight_kg__gt=0), name="disposal_has_a_weight"),
        ]


class DisposalLine(models.Model):
    """One module or part of a disposal; each leaves once."""

    disposal = models.ForeignKey(Disposal, models.PROTECT, related_name="lines")
    module = models.ForeignKey("packs.Module", models.PROTECT, null=True, related_name="+")
    component = models.ForeignKey("packs.Component", models.PROTECT, null=True, related_name="+")

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(module__isnull=False, component__isnull=True)
                | Q(module__isnull=True, component__isnull=False),
                name="disposalline_is_one_thing",
            )
        ]


class ShippingDecision(Fact):
    """How a lithium-ion pack or its modules may travel, decided and signed by who is qualified."""

    PREFIX: ClassVar[str] = "sd"
    KIND: ClassVar[str] = "shipping_decision"

    class Condition(models.TextChoices):
        SOUND = "sound"
        DAMAGED_OR_DEFECTIVE = "damaged_or_defective"
        FOR_DISPOSAL = "for_disposal"

    visit = models.ForeignKey("packs.Visit", models.PROTECT, null=True, related_name="+")
    happened_at = models.DateTimeField()
    condition = models.CharField(max_length=20, choices=Condition.choices)
    un_number = models.CharField(max_length=7)
    qualification = models.CharField(max_length=100)
    reasons = models.TextField()
    packing = models.TextField(default="", blank=True)

    class Meta(Fact.Meta):
        pass


class PriceItem(Keyed):
    """One line of the shop's own list: what a part or a piece of work costs, and its hours."""

    PREFIX: ClassVar[str] = "pi"
    KIND: ClassVar[str] = "price"

    class Kinds(models.TextChoices):
        MODULE = "module"
        COMPONENT = "component"
        REBUILD = "rebuild"
        REPLACEMENT = "replacement"
        HOUR = "hour"

    code = models.CharField(max_length=40, unique=True)
    what = models.CharField(max_length=200)
    kind = models.CharField(max_length=11, choices=Kinds.choices)
    pack_type = models.ForeignKey("packs.PackType", models.PROTECT, null=True, related_name="+")
    component_kind = models.CharField(max_length=20, default="", blank=True)
    price = models.DecimalField(max_digits=10, decimal_places=2)
    hours = models.DecimalField(max_digits=6, decimal_places=2, default=0)
    site = models.ForeignKey("packs.Site", models.PROTECT, null=True, related_name="+")

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(price__gte=0, hours__gte=0), name="priceitem_is_not_negative"
            )
        ]
