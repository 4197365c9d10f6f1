"""A worker killed in the middle, and a broker emptied: nothing that is owed is lost."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path

import pytest
import redis
from django.conf import settings
from django.db import connections
from django.utils import timezone

from packs.models import Pack
from packs.writes import checks
from reports.models import Outlook
from reports.writes import sweeping
from shop import wake
from tests import world
from tests.reports import ageing

pytestmark = [pytest.mark.broker, pytest.mark.django_db(transaction=True)]

PACKS = 600
WITHIN_S = 60.0


def owe_many() -> None:
    """Packs with checks, each owed an outlook."""
    kind = world.pack_type()
    for number in range(PACKS):
        pack = world.pack(f"TP-{number:04d}", kind)
        entries = [
            ageing.load_entry(pack, world.later(days=90.0 * turn), 0.1 * 1.2**turn)
            for turn in range(4)
        ]
        checks.record_each(by=world.actor(), at=world.later(days=400), entries=entries)


def present() -> int:
    return Outlook.objects.filter(told_until__isnull=True).count()


def wait_until(enough: int) -> None:
    last = time.monotonic() + WITHIN_S
    while present() < enough and time.monotonic() < last:
        time.sleep(0.02)
    assert present() >= enough


@contextmanager
def worker(log: Path) -> Iterator[subprocess.Popen[bytes]]:
    """A worker over the test database, to be killed."""
    database = connections["default"].settings_dict
    url = f"postgresql://{database['USER']}@/{database['NAME']}?host={database['HOST']}"
    command = [sys.executable, "-m", "celery", "-A", "shop", "worker", "-c", "1", "-l", "INFO"]
    with log.open("wb") as output:
        running = subprocess.Popen(
            command,
            env={**os.environ, "DATABASE_URL": url},
            stdout=output,
            stderr=output,
            start_new_session=True,
        )
        try:
            yield running
        finally:
            os.killpg(running.pid, signal.SIGKILL)
            running.wait()


def test_nothing_owed_is_lost(tmp_path: Path) -> None:
    owe_many()
    assert settings.REDIS_URL is not None
    with worker(tmp_path / "first"):
        wake.wake_sweep()
        wait_until(1)
    done = present()
    redis.Redis.from_url(settings.REDIS_URL).flushall()
    assert done < PACKS, "the worker was done before it was killed"
    claimed = Pack.objects.filter(estimate_claimed_until__isnull=False).count()
    # What the dead worker had claimed is anybody's again when its claim lapses.
    while sweeping.sweep(at=timezone.now() + sweeping.CLAIM + timedelta(seconds=1)):
        pass
    assert present() == PACKS
    assert claimed > 0, "nothing was claimed when the worker died"


def test_a_second_worker_goes_on_where_the_first_died(tmp_path: Path) -> None:
    owe_many()
    with worker(tmp_path / "first"):
        wake.wake_sweep()
        wait_until(1)
    Pack.objects.update(estimate_claimed_until=timezone.now() - timedelta(seconds=1))
    with worker(tmp_path / "second"):
        wake.wake_sweep()
        wait_until(PACKS)
    outlooks = Outlook.objects.filter(told_until__isnull=True)
    assert outlooks.values("pack").distinct().count() == PACKS
