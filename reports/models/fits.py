"""What the fleet said, fit by fit."""

from typing import ClassVar

from django.db import models


class StoredFit(models.Model):
    """The figures of one fit over the fleet; never changed, so that an old outlook can be redone.

    `checks_seen` is how far intake had come at the time, to tell how much is new since.
    """

    PREFIX: ClassVar[str] = "fi"

    fitted_at = models.DateTimeField()
    facts_through = models.DateTimeField()
    parameters = models.JSONField()
    packs = models.PositiveIntegerField()
    checks_seen = models.PositiveBigIntegerField()

    class Meta:
        indexes = [models.Index(fields=["facts_through", "fitted_at"], name="fit_by_facts")]
