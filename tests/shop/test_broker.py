"""Real Redis, a real worker: a write's wake-up reaches a sweep in another process."""

import time
from pathlib import Path

import pytest
from django.conf import settings

from shop import wake
from shop.celery import app

SWEPT_WITHIN_S = 20.0

pytestmark = pytest.mark.broker


def test_a_wake_up_is_swept_by_the_worker(celery_worker: Path) -> None:
    wake.wake_sweep()
    last = time.monotonic() + SWEPT_WITHIN_S
    while "reports.sweep" not in done_by(celery_worker) and time.monotonic() < last:
        time.sleep(0.1)
    assert "reports.sweep" in done_by(celery_worker), celery_worker.read_text()


def done_by(log: Path) -> set[str]:
    """The names of the tasks that the worker says have succeeded."""
    lines = [line for line in log.read_text().splitlines() if " succeeded in " in line]
    return {line.partition("Task ")[2].partition("[")[0] for line in lines}


def test_the_worker_knows_every_task_that_beat_sends(celery_worker: Path) -> None:
    registered = app.control.inspect(timeout=5, limit=1).registered()
    assert registered
    known = {name for names in registered.values() for name in names}
    assert {entry["task"] for entry in settings.CELERY_BEAT_SCHEDULE.values()} <= known
