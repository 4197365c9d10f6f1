"""Doors for Celery: each makes one call down."""

from celery import shared_task
from django.utils import timezone

from reports.writes import sweeping


@shared_task(name="reports.sweep")
def sweep() -> int:
    """Work out all that is owed; harmless to run twice, or to lose."""
    done = 0
    while batch := sweeping.sweep(at=timezone.now()):
        done += batch
    return done
