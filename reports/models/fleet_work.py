"""Work on the whole fleet, cut into shards of packs: how far it has come, and who has which."""

from typing import ClassVar

from django.db import models
from django.db.models import F, Q


class FleetWork(models.Model):
    """One piece of work on the fleet, from when it was asked for until it ended.

    `as_of` is null where it is for the present. What is under way has no `finished_at`; what
    ended without success says so in `error`. `called_at` is when workers were last called for it;
    `claimed_until` and `tries` are of its last step, which follows when all shards are done.
    """

    PREFIX: ClassVar[str] = "fw"

    class Kind(models.TextChoices):
        FIT = "fit"
        OUTLOOKS = "outlooks"

    kind = models.CharField(max_length=8, choices=Kind.choices)
    asked_at = models.DateTimeField()
    as_of = models.DateTimeField(null=True)
    checks_seen = models.PositiveBigIntegerField()
    shards = models.PositiveIntegerField()
    done = models.PositiveIntegerField(default=0)
    packs = models.PositiveIntegerField(default=0)
    builds = models.PositiveIntegerField(null=True)
    fit = models.ForeignKey("reports.StoredFit", models.PROTECT, null=True, related_name="+")
    called_at = models.DateTimeField(null=True)
    claimed_until = models.DateTimeField(null=True)
    tries = models.PositiveSmallIntegerField(default=0)
    finished_at = models.DateTimeField(null=True)
    error = models.CharField(max_length=200, default="", blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["kind"],
                condition=Q(finished_at__isnull=True, as_of__isnull=True),
                name="fleetwork_one_for_the_present",
            ),
            models.UniqueConstraint(
                fields=["kind", "as_of"],
                condition=Q(finished_at__isnull=True),
                name="fleetwork_one_as_of",
            ),
            models.CheckConstraint(
                condition=Q(done__lte=F("shards")), name="fleetwork_done_of_its_shards"
            ),
        ]
        indexes = [models.Index(fields=["asked_at"], name="fleetwork_by_time")]


class FleetShard(models.Model):
    """Packs from one number to another, done by one worker at a time.

    Claimed by a conditional update of `claimed_until`. `statistics` is what a fit gathered from
    them, until the work has ended; then its shards are gone.
    """

    work = models.ForeignKey(FleetWork, models.CASCADE, related_name="parts")
    number = models.PositiveIntegerField()
    first_pack = models.PositiveBigIntegerField()
    last_pack = models.PositiveBigIntegerField()
    claimed_until = models.DateTimeField(null=True)
    tries = models.PositiveSmallIntegerField(default=0)
    done_at = models.DateTimeField(null=True)
    statistics = models.BinaryField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["work", "number"], name="fleetshard_number"),
            models.CheckConstraint(
                condition=Q(first_pack__lte=F("last_pack")), name="fleetshard_holds_packs"
            ),
        ]
