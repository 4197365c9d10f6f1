"""Work that is owed beside the packs' own: when it is due, and until when somebody has it."""

from django.db import models


class Duty(models.Model):
    """One kind of recurring work; claimed by a conditional update of `claimed_until`."""

    name = models.CharField(max_length=20, primary_key=True)
    due_at = models.DateTimeField()
    claimed_until = models.DateTimeField(null=True)
