"""Wakes the sweep after a write: the loop of `serve`, or a worker where there is a broker."""

import logging
import threading

from django.conf import settings
from kombu.exceptions import OperationalError
from redis.exceptions import RedisError

from shop.celery import app

SWEEP_TASK = "reports.sweep"

logger = logging.getLogger(__name__)
_written = threading.Event()


def wake_sweep() -> None:
    """Never fails the request: what is owed stands in the database, and beat asks again."""
    if settings.REDIS_URL is None:
        _written.set()
        return
    try:
        app.send_task(SWEEP_TASK, retry=False, ignore_result=True, expires=settings.SWEEP_EVERY_S)
    except (OperationalError, RedisError, OSError) as error:
        logger.warning("the broker did not take the wake-up: %s", type(error).__name__)


def end_wait() -> None:
    """Let the loop of this process go on at once, so that it can stop."""
    _written.set()


def wait_for_write(*, timeout_s: float) -> bool:
    """True when something was written since the last call, False when the time has passed."""
    woken = _written.wait(timeout_s)
    _written.clear()
    return woken
