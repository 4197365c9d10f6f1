"""A worker killed in the middle, and a broker emptied: nothing that is owed is lost."""

import os
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path

import pytest
import redis
from django.conf import settings
from django.db import connection, transaction
from django.utils import timezone

from packs.models import Pack
from packs.writes import checks
from reports.models import Outlook
from reports.writes import sweeping
from shop import wake
from tests import servers, world
from tests.conftest import url_of_test_database
from tests.reports import ageing

pytestmark = [pytest.mark.broker, pytest.mark.django_db(transaction=True)]

PACKS = 500
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


def claimed() -> int:
    return Pack.objects.filter(estimate_claimed_until__isnull=False).count()


def everybody() -> set[int]:
    return set(Pack.objects.values_list("pk", flat=True))


def wait_until(true: Callable[[], bool]) -> None:
    last = time.monotonic() + WITHIN_S
    while not true() and time.monotonic() < last:
        time.sleep(0.05)
    assert true()


@contextmanager
def worker(log: Path) -> Iterator[None]:
    """A worker over the test database, killed in the end."""
    environment = {**os.environ, "DATABASE_URL": url_of_test_database()}
    made = servers.worker_process(environment, log)
    made.start()
    try:
        yield
    finally:
        made.kill()


def killed_in_the_middle(log: Path) -> int:
    """Let a worker claim packs and work them out, and kill it as it stores; how many it had."""
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("LOCK TABLE reports_outlook IN SHARE MODE")  # readers pass, writers wait
        with worker(log):
            wake.wake_sweep()
            wait_until(lambda: claimed() > 0)
        return claimed()


def test_nothing_owed_is_lost(tmp_path: Path) -> None:
    owe_many()
    assert settings.REDIS_URL is not None
    held = killed_in_the_middle(tmp_path / "first")
    redis.Redis.from_url(settings.REDIS_URL).flushall()
    assert (held, present()) == (min(sweeping.BATCH, PACKS), 0)
    while sweeping.sweep(at=timezone.now()):
        pass
    assert present() == PACKS - held  # what the dead worker holds waits until its claim lapses
    while sweeping.sweep(at=timezone.now() + sweeping.CLAIM + timedelta(seconds=1)):
        pass
    assert set(Outlook.objects.values_list("pack", flat=True)) == everybody()


def test_a_second_worker_goes_on_where_the_first_died(tmp_path: Path) -> None:
    owe_many()
    killed_in_the_middle(tmp_path / "first")
    Pack.objects.update(estimate_claimed_until=timezone.now() - timedelta(seconds=1))
    with worker(tmp_path / "second"):
        wake.wake_sweep()
        wait_until(lambda: present() == PACKS)
    assert set(Outlook.objects.values_list("pack", flat=True)) == everybody()
