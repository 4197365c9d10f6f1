"""Tests on the bench: of modules, of the other parts, and what waits to be tested."""

from typing import ClassVar

from django.db import models
from django.db.models import F, Q

from packs.models.facts import Fact, Keyed


class ModuleTest(Fact):
    """One test of one module: what was measured, and what follows from it.

    `measured` is as it was told, `computed` as it was worked out when it was stored;
    `capacity_ah`, `resistance_mohm` and `stand_mv_per_day` are the figures to be judged and
    matched by. It concerns a module, and a pack only where it was tested in one.
    """

    PREFIX: ClassVar[str] = "mt"
    KIND: ClassVar[str] = "module_test"

    class Kinds(models.TextChoices):
        CAPACITY = "capacity"
        RESISTANCE = "resistance"
        STAND = "stand"
        LOAD = "load"

    module = models.ForeignKey("packs.Module", models.PROTECT, related_name="tests")
    visit = models.ForeignKey("packs.Visit", models.PROTECT, null=True, related_name="+")
    kind = models.CharField(max_length=10, choices=Kinds.choices)
    started_at = models.DateTimeField()
    ended_at = models.DateTimeField()
    temperature_c = models.FloatField(null=True)
    method = models.CharField(max_length=100, default="", blank=True)
    equipment = models.ForeignKey("packs.Equipment", models.PROTECT, null=True, related_name="+")
    channel = models.CharField(max_length=40, default="", blank=True)
    cycle = models.PositiveSmallIntegerField(null=True)
    rest_before_min = models.FloatField(null=True)
    charge_before_ah = models.FloatField(null=True)
    measured = models.JSONField(default=dict)
    computed = models.JSONField(default=dict)
    capacity_ah = models.FloatField(null=True)
    resistance_mohm = models.FloatField(null=True)
    stand_mv_per_day = models.FloatField(null=True)
    note = models.TextField(default="", blank=True)

    class Meta(Fact.Meta):
        constraints = [
            *Fact.Meta.constraints,
            models.CheckConstraint(
                condition=Q(ended_at__gte=F("started_at")), name="moduletest_ends_after_it_begins"
            ),
        ]
        indexes = [models.Index(fields=["module", "kind", "ended_at"], name="moduletest_by_module")]


class TestSeries(models.Model):
    """The raw series of a test: seconds, amperes and volts as little-endian float32, zlib packed.

    A table of its own, so that no list of tests reads series along.
    """

    __test__ = False  # its name does not make it a test

    test = models.OneToOneField(ModuleTest, models.PROTECT, primary_key=True, related_name="series")
    points = models.PositiveIntegerField()
    packed = models.BinaryField()


class PlannedTest(Fact):
    """A test that a module waits for, on which channel, and by when it is due.

    It is done when a test of that kind of that module has begun since it was planned.
    """

    PREFIX: ClassVar[str] = "pn"
    KIND: ClassVar[str] = "planned_test"

    module = models.ForeignKey("packs.Module", models.PROTECT, related_name="planned_tests")
    kind = models.CharField(max_length=10, choices=ModuleTest.Kinds.choices)
    channel = models.CharField(max_length=40, default="", blank=True)
    equipment = models.ForeignKey("packs.Equipment", models.PROTECT, null=True, related_name="+")
    visit = models.ForeignKey("packs.Visit", models.PROTECT, null=True, related_name="+")
    planned_at = models.DateTimeField()
    due_at = models.DateTimeField()
    note = models.TextField(default="", blank=True)

    class Meta(Fact.Meta):
        constraints = [
            *Fact.Meta.constraints,
            models.CheckConstraint(
                condition=Q(due_at__gte=F("planned_at")), name="plannedtest_is_due_after"
            ),
        ]
        indexes = [models.Index(fields=["module", "kind"], name="plannedtest_by_module")]


class Component(Keyed):
    """A part other than a module by its tag; where it sat follows from the swaps."""

    PREFIX: ClassVar[str] = "cp"
    KIND: ClassVar[str] = "component"

    class Kinds(models.TextChoices):
        MAIN_CONTACTOR = "main_contactor"
        PRECHARGE_CONTACTOR = "precharge_contactor"
        PRECHARGE_RESISTOR = "precharge_resistor"
        CURRENT_SENSOR = "current_sensor"
        SERVICE_SWITCH = "service_switch"
        FUSE = "fuse"
        TEMPERATURE_SENSOR = "temperature_sensor"
        BUS_BAR = "bus_bar"
        SENSE_HARNESS = "sense_harness"
        COOLING_FAN = "cooling_fan"

    class Status(models.TextChoices):
        FITTED = "fitted"
        STOCK = "stock"
        RESERVED = "reserved"
        QUARANTINED = "quarantined"
        SCRAPPED = "scrapped"

    tag = models.CharField(max_length=60, unique=True)
    kind = models.CharField(max_length=20, choices=Kinds.choices)
    part_number = models.CharField(max_length=60, default="", blank=True)
    ratings = models.JSONField(default=dict)
    donor_pack = models.ForeignKey("packs.Pack", models.PROTECT, null=True, related_name="+")
    status = models.CharField(max_length=12, choices=Status.choices, default=Status.STOCK)
    status_reason = models.TextField(default="", blank=True)


class PartTest(Fact):
    """A test of a part other than a module: by its tag, or by the slot of a pack."""

    PREFIX: ClassVar[str] = "pr"
    KIND: ClassVar[str] = "part_test"

    visit = models.ForeignKey("packs.Visit", models.PROTECT, null=True, related_name="+")
    happened_at = models.DateTimeField()
    component = models.ForeignKey(Component, models.PROTECT, null=True, related_name="tests")
    slot = models.CharField(max_length=60, default="", blank=True)
    kind = models.CharField(max_length=20, choices=Component.Kinds.choices)
    measured = models.JSONField(default=dict)
    equipment = models.ForeignKey("packs.Equipment", models.PROTECT, null=True, related_name="+")
    note = models.TextField(default="", blank=True)

    class Meta(Fact.Meta):
        constraints = [
            *Fact.Meta.constraints,
            models.CheckConstraint(
                condition=Q(component__isnull=False) | (Q(pack__isnull=False) & ~Q(slot="")),
                name="parttest_is_of_something",
            ),
        ]
        indexes = [models.Index(fields=["visit", "happened_at"], name="parttest_by_visit")]
