"""What was written, line by line; a voltage check is a line of its own, in its own table."""

from django.db import models


class HistoryEntry(models.Model):
    """One revision of a pack that was not a voltage check being recorded."""

    class Action(models.TextChoices):
        RECORDED = "recorded"
        VOIDED = "voided"
        CHANGED = "changed"

    pack = models.ForeignKey("packs.Pack", models.PROTECT, related_name="history")
    revision = models.PositiveBigIntegerField()
    recorded_at = models.DateTimeField()
    happened_at = models.DateTimeField()
    kind = models.CharField(max_length=20)
    action = models.CharField(max_length=8, choices=Action.choices)
    fact_id = models.PositiveBigIntegerField()
    summary = models.TextField()
    client = models.ForeignKey("packs.Client", models.PROTECT, related_name="+")
    recorded_by = models.ForeignKey("packs.Person", models.PROTECT, null=True, related_name="+")
    done_by = models.ForeignKey("packs.Person", models.PROTECT, null=True, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["pack", "revision"], name="history_revision")
        ]
        indexes = [
            models.Index(fields=["pack", "happened_at"], name="history_by_pack"),
            models.Index(fields=["kind", "fact_id"], name="history_by_fact"),
        ]


class Edit(models.Model):
    """A change of something that may be changed: which fields, from what, to what.

    Of personal data only the names of the fields are kept.
    """

    kind = models.CharField(max_length=20)
    key = models.CharField(max_length=60)
    version = models.PositiveIntegerField()
    recorded_at = models.DateTimeField()
    changes = models.JSONField()
    client = models.ForeignKey("packs.Client", models.PROTECT, related_name="+")
    recorded_by = models.ForeignKey("packs.Person", models.PROTECT, null=True, related_name="+")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["kind", "key", "version"], name="edit_once")]
