"""The packs themselves."""

from typing import ClassVar

from django.db import models
from django.db.models.functions import Upper

from packs.models.facts import Keyed

SERIAL_LENGTH = 40

# `serial__upper` finds a pack by the index that keeps serials apart, on both databases.
models.CharField.register_lookup(Upper)


class Pack(Keyed):
    """A pack by its serial.

    `revision` counts what was written about it, and is the clock that estimates are made by;
    `settled_at` is the newest instant any record or estimate of it bears, so that a later
    record never seems older than an answer already given. `estimate_due_at` is what is owed:
    the sweep claims it by setting `estimate_claimed_until`. `serial_alike` is what search
    compares: packs.rules.vehicles.alike_key.
    """

    PREFIX: ClassVar[str] = "pk"
    KIND: ClassVar[str] = "pack"

    class Status(models.TextChoices):
        IN_SERVICE = "in_service"
        IN_SHOP = "in_shop"
        SHELF = "shelf"
        LOAN = "loan"
        SOLD = "sold"
        CORE_DUE = "core_due"
        DISMANTLED = "dismantled"
        SCRAPPED = "scrapped"

    serial = models.CharField(max_length=SERIAL_LENGTH)
    serial_alike = models.CharField(max_length=SERIAL_LENGTH, default="", blank=True)
    pack_type = models.ForeignKey("packs.PackType", models.PROTECT, related_name="packs")
    status = models.CharField(max_length=12, choices=Status.choices, default=Status.IN_SERVICE)
    built_on = models.DateField(null=True)
    revision = models.PositiveBigIntegerField(default=1)
    settled_at = models.DateTimeField()
    last_contact = models.DateTimeField(null=True)
    since = models.DateTimeField(null=True)
    estimate_due_at = models.DateTimeField(null=True)
    estimate_claimed_until = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(Upper("serial"), name="pack_serial_whatever_the_case")
        ]
        indexes = [
            models.Index(fields=["estimate_due_at"], name="pack_estimate_due"),
            models.Index(fields=["serial_alike", "id"], name="pack_found_by_serial"),
            models.Index(fields=["-last_contact", "-id"], name="pack_last_seen"),
        ]
