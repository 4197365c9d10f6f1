"""What was found and done on a pack: inspections and swaps."""

from typing import ClassVar

from django.db import models
from django.db.models import Q

from packs.models.facts import Fact
from packs.models.modules import Placement


class Inspection(Fact):
    """A look at the pack, with graded findings."""

    PREFIX: ClassVar[str] = "is"
    KIND: ClassVar[str] = "inspection"

    visit = models.ForeignKey("packs.Visit", models.PROTECT, null=True, related_name="+")
    happened_at = models.DateTimeField()
    action = models.TextField(default="", blank=True)

    class Meta(Fact.Meta):
        pass


class Finding(models.Model):
    """One thing an inspection found."""

    class Kinds(models.TextChoices):
        CORROSION = "corrosion"
        RESIDUE = "residue"
        SWELLING = "swelling"
        VENTING = "venting"
        HEAT_MARKS = "heat_marks"
        BLOCKED_FILTER = "blocked_filter"
        FAN_FAULT = "fan_fault"
        DAMAGED_LEAD = "damaged_lead"
        LOOSE_JOINT = "loose_joint"
        WATER = "water"
        OTHER = "other"

    inspection = models.ForeignKey(Inspection, models.PROTECT, related_name="findings")
    part = models.CharField(max_length=100)
    finding = models.CharField(max_length=20, choices=Kinds.choices)
    grade = models.PositiveSmallIntegerField()
    position = models.PositiveSmallIntegerField(null=True)
    note = models.TextField(default="", blank=True)
    photo = models.CharField(max_length=200, null=True)  # noqa: DJ001

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(grade__lte=3), name="finding_grade_to_three")
        ]


class Swap(Fact):
    """One atomic change of modules or of other parts."""

    PREFIX: ClassVar[str] = "sw"
    KIND: ClassVar[str] = "swap"

    class Kinds(models.TextChoices):
        MODULE = "module"
        COMPONENT = "component"

    done_at = models.DateTimeField()
    visit = models.ForeignKey("packs.Visit", models.PROTECT, null=True, related_name="+")
    kind = models.CharField(max_length=10, choices=Kinds.choices)
    starts_build = models.BooleanField()

    class Meta(Fact.Meta):
        indexes = [models.Index(fields=["pack", "done_at"], name="swap_by_pack")]


class SwapChange(models.Model):
    """One position or slot of a swap; nameless on either side where nobody said the tag."""

    swap = models.ForeignKey(Swap, models.PROTECT, related_name="changes")
    position = models.PositiveSmallIntegerField(null=True)
    slot = models.CharField(max_length=60, default="", blank=True)
    removed = models.ForeignKey("packs.Module", models.PROTECT, null=True, related_name="+")
    fitted = models.ForeignKey("packs.Module", models.PROTECT, null=True, related_name="+")
    removed_part = models.CharField(max_length=60, default="", blank=True)
    fitted_part = models.CharField(max_length=60, default="", blank=True)
    orientation = models.CharField(
        max_length=8, choices=Placement.Orientation.choices, default=Placement.Orientation.NORMAL
    )
    reason = models.TextField(default="", blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(position__isnull=False, slot="")
                | Q(position__isnull=True, removed__isnull=True, fitted__isnull=True),
                name="swapchange_is_a_position_or_a_slot",
            )
        ]


class Failure(Fact):
    """What the car or the bench said of a pack that would no longer do."""

    PREFIX: ClassVar[str] = "fa"
    KIND: ClassVar[str] = "failure"

    class Cause(models.TextChoices):
        MODULE = "module"
        CAPACITY = "capacity"
        CONNECTION = "connection"
        SENSE_LEAD = "sense_lead"
        ISOLATION = "isolation"
        JUNCTION_BOARD = "junction_board"
        COOLING = "cooling"
        SENSOR = "sensor"
        MONITOR = "monitor"
        LEAK = "leak"
        ACCIDENT = "accident"
        UNKNOWN = "unknown"

    class HowKnown(models.TextChoices):
        CODE_SET = "code_set"
        STRANDED = "stranded"
        CONDEMNED_ON_BENCH = "condemned_on_bench"

    failed_on = models.DateField()
    cause = models.CharField(max_length=20, choices=Cause.choices)
    how_known = models.CharField(max_length=20, choices=HowKnown.choices)
    visit = models.ForeignKey("packs.Visit", models.PROTECT, null=True, related_name="+")

    class Meta(Fact.Meta):
        indexes = [models.Index(fields=["pack", "failed_on"], name="failure_by_pack")]
