"""The shop's own words on the papers that it hands out."""

from typing import ClassVar

from django.db import models

from packs.models.facts import Keyed


class PaperWords(models.Model):
    """What may change from one version of a paper's words to the next."""

    heading = models.CharField(max_length=120)
    opening = models.TextField(default="", blank=True)
    closing = models.TextField(default="", blank=True)

    class Meta:
        abstract = True


class PaperText(PaperWords, Keyed):
    """The words of one kind of paper, as they stand now."""

    PREFIX: ClassVar[str] = "px"
    KIND: ClassVar[str] = "paper_text"

    class Papers(models.TextChoices):
        INTAKE = "intake"
        ESTIMATE = "estimate"
        TEST_CERTIFICATE = "test_certificate"
        WARRANTY_CERTIFICATE = "warranty_certificate"
        CORE_RECEIPT = "core_receipt"
        OUTLOOK = "outlook"

    paper = models.CharField(max_length=20, choices=Papers.choices, unique=True)


class PaperTextVersion(PaperWords):
    """The words from one change to the next, so that a paper of last year reads as it did."""

    text = models.ForeignKey(PaperText, models.PROTECT, related_name="versions")
    number = models.PositiveIntegerField()
    recorded_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["text", "number"], name="papertextversion_once")
        ]
