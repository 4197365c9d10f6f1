"""Who is on the line: clients, their tokens, and the answers kept for a request sent twice."""

from django.db import models

from packs.models.facts import EXTERNAL_ID_LENGTH


class Role(models.TextChoices):
    DESK = "desk"
    BENCH = "bench"
    MANAGER = "manager"
    MACHINE = "machine"


class Client(models.Model):
    """A program, or the pages; it survives the rotation of its tokens."""

    name = models.CharField(max_length=100, unique=True)
    site = models.ForeignKey("packs.Site", models.PROTECT, null=True, related_name="+")
    created_at = models.DateTimeField()


class Token(models.Model):
    """A key to the API: only its SHA-256 is kept."""

    client = models.ForeignKey(Client, models.PROTECT, related_name="tokens")
    role = models.CharField(max_length=10, choices=Role.choices)
    digest = models.BinaryField(max_length=32, unique=True)
    created_at = models.DateTimeField()
    expires_at = models.DateTimeField(null=True)
    revoked_at = models.DateTimeField(null=True)
    last_used_at = models.DateTimeField(null=True)


class KeptAnswer(models.Model):
    """The answer to a POST with an Idempotency-Key; without a status its twin still runs."""

    client = models.ForeignKey(Client, models.PROTECT, related_name="+")
    key = models.CharField(max_length=EXTERNAL_ID_LENGTH)
    request_digest = models.BinaryField(max_length=32)
    started_at = models.DateTimeField()
    status = models.PositiveSmallIntegerField(null=True)
    body = models.JSONField(null=True)
    location = models.CharField(max_length=600, default="", blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["client", "key"], name="keptanswer_once_per_client")
        ]
        indexes = [models.Index(fields=["started_at"], name="keptanswer_age")]
