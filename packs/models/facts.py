"""What every record carries: when we learnt it, through whom, and whether it still counts."""

from typing import ClassVar

from django.db import models

EXTERNAL_ID_LENGTH = 200


class Posted(models.Model):
    """Something somebody told us, through a client, at an instant of our clock."""

    PREFIX: ClassVar[str] = ""
    KIND: ClassVar[str] = ""

    recorded_at = models.DateTimeField()
    client = models.ForeignKey("packs.Client", models.PROTECT, related_name="+")
    recorded_by = models.ForeignKey("packs.Person", models.PROTECT, null=True, related_name="+")
    digest = models.BinaryField(max_length=32)

    class Meta:
        abstract = True


class Keyed(Posted):
    """A thing people know by a key of its own, which may be changed version by version."""

    version = models.PositiveIntegerField(default=1)

    class Meta:
        abstract = True


class Fact(Posted):
    """A record that is never changed: a correction voids it and takes its place.

    `revision` is the revision of the pack that it made, `voided_revision` the one that took it
    out of account; both are null for what concerns no pack.
    """

    pack = models.ForeignKey("packs.Pack", models.PROTECT, null=True, related_name="+")
    revision = models.PositiveBigIntegerField(null=True)
    done_by = models.ForeignKey("packs.Person", models.PROTECT, null=True, related_name="+")
    external_id = models.CharField(max_length=EXTERNAL_ID_LENGTH, null=True)  # noqa: DJ001
    supersedes = models.OneToOneField(
        "self", models.PROTECT, null=True, related_name="superseded_by"
    )
    voided_at = models.DateTimeField(null=True)
    voided_revision = models.PositiveBigIntegerField(null=True)
    void_reason = models.TextField(default="", blank=True)
    void_client = models.ForeignKey("packs.Client", models.PROTECT, null=True, related_name="+")
    voided_by = models.ForeignKey("packs.Person", models.PROTECT, null=True, related_name="+")

    class Meta:
        abstract = True
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(
                fields=["client", "external_id"], name="%(class)s_once_per_client"
            ),
            models.CheckConstraint(
                condition=models.Q(voided_at__isnull=True) | ~models.Q(void_reason=""),
                name="%(class)s_void_says_why",
            ),
        ]


VOID_COLUMNS = ("voided_at", "voided_revision", "void_reason", "void_client_id", "voided_by_id")
