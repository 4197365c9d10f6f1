"""Voltage checks: one row a check, the voltages in one compact array."""

from typing import ClassVar

from django.db import models
from django.db.models import Q

from packs.models.arrays import VoltageArray
from packs.models.facts import Fact


class VoltageCheck(Fact):
    """Voltages of a pack taken together; its own line in the pack's history."""

    PREFIX: ClassVar[str] = "vc"
    KIND: ClassVar[str] = "voltage_check"

    class Level(models.TextChoices):
        BLOCK = "block"
        MODULE = "module"
        CELL = "cell"

    class Condition(models.TextChoices):
        REST = "rest"
        LOAD = "load"
        CHARGE = "charge"

    # What every fact bears, without an index that no query uses: each costs every check its part.
    client = models.ForeignKey("packs.Client", models.PROTECT, related_name="+", db_index=False)
    recorded_by = models.ForeignKey(
        "packs.Person", models.PROTECT, null=True, related_name="+", db_index=False
    )
    pack = models.ForeignKey(
        "packs.Pack", models.PROTECT, null=True, related_name="+", db_index=False
    )
    done_by = models.ForeignKey(
        "packs.Person", models.PROTECT, null=True, related_name="+", db_index=False
    )
    void_client = models.ForeignKey(
        "packs.Client", models.PROTECT, null=True, related_name="+", db_index=False
    )
    voided_by = models.ForeignKey(
        "packs.Person", models.PROTECT, null=True, related_name="+", db_index=False
    )
    taken_at = models.DateTimeField()
    level = models.CharField(max_length=6, choices=Level.choices)
    condition = models.CharField(max_length=6, choices=Condition.choices)
    current_a = models.FloatField()
    voltages = VoltageArray()
    set_name = models.CharField(max_length=100, null=True)  # noqa: DJ001
    current_min_a = models.FloatField(null=True)
    current_max_a = models.FloatField(null=True)
    condition_s = models.FloatField(null=True)
    rested_min = models.FloatField(null=True)
    last_current = models.CharField(max_length=9, null=True)  # noqa: DJ001
    soc_pct = models.FloatField(null=True)
    soc_source = models.CharField(max_length=9, null=True)  # noqa: DJ001
    temperature_c = models.FloatField(null=True)
    temperatures_c = models.JSONField(null=True)
    odometer_km = models.PositiveIntegerField(null=True)
    taken = models.CharField(max_length=10, null=True)  # noqa: DJ001
    equipment = models.ForeignKey(
        "packs.Equipment", models.PROTECT, null=True, related_name="+", db_index=False
    )
    instrument = models.CharField(max_length=100, null=True)  # noqa: DJ001
    visit = models.ForeignKey(
        "packs.Visit", models.PROTECT, null=True, related_name="+", db_index=False
    )
    spread_v = models.FloatField()
    median_v = models.FloatField()
    weakest_position = models.PositiveSmallIntegerField(null=True)
    weakest_deviation_v = models.FloatField(null=True)
    suspect = models.JSONField(default=list)

    class Meta(Fact.Meta):
        constraints = [
            *Fact.Meta.constraints,
            models.UniqueConstraint(fields=["pack", "revision"], name="voltagecheck_revision"),
            models.CheckConstraint(
                condition=Q(pack__isnull=False, revision__isnull=False),
                name="voltagecheck_is_of_a_pack",
            ),
            models.CheckConstraint(
                condition=Q(condition="rest")
                | Q(condition="load", current_a__gt=0)
                | Q(condition="charge", current_a__lt=0),
                name="voltagecheck_current_goes_with_condition",
            ),
        ]
        indexes = [
            models.Index(fields=["pack", "taken_at"], name="voltagecheck_by_pack"),
            models.Index(fields=["taken_at"], name="voltagecheck_by_time"),
            models.Index(
                fields=["equipment"],
                condition=Q(equipment__isnull=False),
                name="voltagecheck_by_equipment",
            ),
            models.Index(
                fields=["visit"], condition=Q(visit__isnull=False), name="voltagecheck_by_visit"
            ),
        ]
