"""One time that a pack or a car is in the shop, and what its control units said."""

from typing import ClassVar

from django.db import models

from packs.models.facts import Fact, Keyed


class Visit(Keyed):
    """A stay in the shop; all work on the pack can name it."""

    PREFIX: ClassVar[str] = "vi"
    KIND: ClassVar[str] = "visit"

    class State(models.TextChoices):
        OPEN = "open"
        WAITING = "waiting"
        READY = "ready"
        CLOSED = "closed"

    class WaitsFor(models.TextChoices):
        DIAGNOSIS = "diagnosis"
        OWNER = "owner"
        PARTS = "parts"
        BENCH = "bench"
        ROAD_TEST = "road_test"
        COLLECTION = "collection"

    vehicle = models.ForeignKey("packs.Vehicle", models.PROTECT, null=True, related_name="visits")
    pack = models.ForeignKey("packs.Pack", models.PROTECT, null=True, related_name="visits")
    revision = models.PositiveBigIntegerField(null=True)
    opened_at = models.DateTimeField()
    complaint = models.TextField(default="", blank=True)
    odometer_km = models.PositiveIntegerField(null=True)
    state = models.CharField(max_length=10, choices=State.choices, default=State.OPEN)
    waits_for = models.CharField(max_length=10, choices=WaitsFor.choices, default="", blank=True)
    promised_at = models.DateTimeField(null=True)
    site = models.ForeignKey("packs.Site", models.PROTECT, null=True, related_name="+")
    external_id = models.CharField(max_length=200, null=True)  # noqa: DJ001

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["client", "external_id"], name="visit_once_per_client"),
            models.CheckConstraint(
                condition=models.Q(vehicle__isnull=False) | models.Q(pack__isnull=False),
                name="visit_is_of_something",
            ),
        ]
        indexes = [
            models.Index(
                fields=["-opened_at", "-id"],
                condition=models.Q(pack__isnull=True),
                name="visit_of_car_alone",
            )
        ]


class TroubleCode(Fact):
    """A code read from a control unit on a visit."""

    PREFIX: ClassVar[str] = "tc"
    KIND: ClassVar[str] = "trouble_code"

    visit = models.ForeignKey(Visit, models.PROTECT, related_name="trouble_codes")
    code = models.CharField(max_length=10)
    control_unit = models.CharField(max_length=100, default="", blank=True)
    status = models.CharField(max_length=100, default="", blank=True)
    failure_type = models.CharField(max_length=10, default="", blank=True)
    freeze_frame = models.JSONField(null=True)
    cleared_at = models.DateTimeField(null=True)

    class Meta(Fact.Meta):
        pass
