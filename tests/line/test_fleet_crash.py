"""A worker killed in the middle of a shard: no shard is lost, and the fit is the whole fleet's."""

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
import redis
from django.conf import settings
from django.db import connection, transaction
from django.utils import timezone

from reports import tasks
from reports.models import FleetShard, FleetWork, StoredFit
from reports.reads import watching
from reports.writes import fleet_work, shards
from shop import wake
from shop.celery import app
from tests.line.test_crash import wait_until, worker
from tests.reports import ageing
from tests.reports.test_fleet_work import numbers, whole

pytestmark = [pytest.mark.broker, pytest.mark.django_db(transaction=True)]

PACKS, SIZE = 24, 4


@pytest.fixture
def work() -> Iterator[FleetWork]:
    """A fit of 24 packs in six shards, workers called for each."""
    app.control.purge()
    ageing.fleet(PACKS)
    asked = shards.ask(shards.FIT, at=timezone.now(), size=SIZE)
    assert tasks.call_workers() == 6
    yield asked
    app.control.purge()


def held() -> int:
    return FleetShard.objects.filter(claimed_until__isnull=False, done_at__isnull=True).count()


def killed_in_the_middle(log: Path) -> None:
    """Let a worker claim a shard and begin to read it, and kill it there."""
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("LOCK TABLE packs_voltagecheck IN ACCESS EXCLUSIVE MODE")
        with worker(log):
            wait_until(lambda: held() > 0)
    assert FleetShard.objects.get(claimed_until__isnull=False).done_at is None


def is_whole(work: FleetWork) -> None:
    work.refresh_from_db()
    assert (work.done, work.packs, work.error) == (6, PACKS, "")
    assert work.fit is not None
    told = list(numbers(work.fit.parameters))
    assert told == pytest.approx(whole(work.asked_at), rel=1e-9, abs=1e-12)
    assert StoredFit.objects.filter(facts_through=work.asked_at).count() == 1


def lapse() -> None:
    past = timezone.now() - timedelta(seconds=1)
    FleetShard.objects.filter(claimed_until__isnull=False).update(claimed_until=past)


def test_no_shard_is_lost_with_its_worker_and_every_message(
    work: FleetWork, tmp_path: Path
) -> None:
    killed_in_the_middle(tmp_path / "first")
    assert settings.REDIS_URL is not None
    redis.Redis.from_url(settings.REDIS_URL).flushall()
    while fleet_work.advance(at=timezone.now()):
        pass
    work.refresh_from_db()
    assert (work.done, work.finished_at) == (5, None)  # one is the dead worker's until it lapses
    assert watching.watch(at=timezone.now()).under_way == (work,)
    lapse()
    while fleet_work.advance(at=timezone.now()):
        pass
    is_whole(work)


def test_another_worker_goes_on_and_doubled_messages_do_no_harm(
    work: FleetWork, tmp_path: Path
) -> None:
    killed_in_the_middle(tmp_path / "first")
    lapse()
    for pk in work.parts.values_list("pk", flat=True):
        for _ in range(2):
            tasks.fleet_shard.apply_async((pk,), ignore_result=True)
    with worker(tmp_path / "second"):
        wake.wake_sweep()
        wait_until(lambda: FleetWork.objects.filter(pk=work.pk, finished_at__isnull=False).exists())
    is_whole(work)


def test_a_task_that_asks_is_shared_by_two_workers(tmp_path: Path) -> None:
    app.control.purge()
    ageing.fleet(PACKS)
    with worker(tmp_path / "first"), worker(tmp_path / "second"):
        tasks.fit_fleet.apply_async(ignore_result=True)
        tasks.refresh_outlooks.apply_async(ignore_result=True)
        wait_until(lambda: FleetWork.objects.filter(finished_at__isnull=False).count() == 2)
    assert set(FleetWork.objects.values_list("kind", "packs", "error")) == {
        ("fit", PACKS, ""), ("outlooks", PACKS, ""),
    }  # fmt: skip
