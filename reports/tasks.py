"""Doors for Celery: each makes one call down. A message lost or doubled does no harm."""

import logging
from datetime import datetime

from celery import shared_task
from django.conf import settings
from django.utils import timezone
from kombu.exceptions import OperationalError
from redis.exceptions import RedisError

from reports.writes import fleet_work, shards, sweeping

log = logging.getLogger(__name__)


@shared_task(name="reports.sweep")
def sweep() -> int:
    """Work out all that is owed; harmless to run twice, or to lose."""
    done = 0
    while batch := sweeping.sweep(at=timezone.now()):
        done += batch
        call_workers()
    return done


@shared_task(name="reports.fit_fleet")
def fit_fleet(as_of: str | None = None) -> int:
    """Ask for a fit, and call the workers; how many were called."""
    fleet_work.ask_fit(at=timezone.now(), as_of=_instant(as_of))
    return call_workers()


@shared_task(name="reports.refresh_outlooks")
def refresh_outlooks(as_of: str | None = None) -> int:
    """Ask for all outlooks anew, and call the workers; how many were called."""
    fleet_work.ask_refresh(at=timezone.now(), as_of=_instant(as_of))
    return call_workers()


@shared_task(name="reports.fleet_shard")
def fleet_shard(shard: int) -> bool:
    """Do one shard of the fleet's work, and its last step if it was the last."""
    return fleet_work.take(shard, clock=timezone.now)


def call_workers() -> int:
    """A message for each shard nobody was called for; where there is no broker the sweep does them.

    A broker that is away loses nothing: whoever sweeps takes the shards from the database.
    """
    if settings.REDIS_URL is None:
        return 0
    called = 0
    try:
        for shard in shards.uncalled(at=timezone.now()):
            fleet_shard.apply_async(
                (shard,),
                retry=False,
                ignore_result=True,
                expires=shards.CALL_AGAIN.total_seconds(),
            )
            called += 1
    except (OperationalError, RedisError, OSError) as error:
        log.warning("the broker did not take the call: %s", type(error).__name__)
    return called


def _instant(text: str | None) -> datetime | None:
    return None if text is None else datetime.fromisoformat(text)
