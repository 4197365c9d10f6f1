"""Files of checks from testers: how a source names its columns, and how far a file has come."""

from typing import ClassVar

from django.db import models

from packs.models.facts import Keyed


class ImportSource(Keyed):
    """A tester or logger whose files come again: its columns are named once.

    `columns` are headers of the file by the name of our field, `settings` what the file does
    not say: level, condition, decimal mark and the like.
    """

    PREFIX: ClassVar[str] = "im"
    KIND: ClassVar[str] = "import_source"

    code = models.CharField(max_length=40, unique=True)
    name = models.CharField(max_length=100, default="", blank=True)
    columns = models.JSONField()
    settings = models.JSONField(default=dict)


class ImportFile(models.Model):
    """A file that was handed in, whole, and the line up to which it is stored."""

    source = models.ForeignKey(ImportSource, models.PROTECT, related_name="files")
    name = models.CharField(max_length=200)
    digest = models.BinaryField(max_length=32)
    content = models.BinaryField()
    handed_in_at = models.DateTimeField()
    client = models.ForeignKey("packs.Client", models.PROTECT, related_name="+")
    recorded_by = models.ForeignKey("packs.Person", models.PROTECT, null=True, related_name="+")
    lines_done = models.PositiveIntegerField(default=0)
    stored = models.PositiveIntegerField(default=0)
    repeated = models.PositiveIntegerField(default=0)
    refused = models.PositiveIntegerField(default=0)
    finished_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["source", "digest"], name="importfile_once_per_source")
        ]
