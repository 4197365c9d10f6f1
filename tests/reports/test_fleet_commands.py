"""fit_fleet and refresh_outlooks from the command line, and as tasks."""

import signal
from datetime import UTC, datetime
from io import StringIO
from typing import Any

import pytest
from django.conf import settings
from django.core.management import CommandError, call_command
from django.utils import timezone

from reports import tasks
from reports.models import FleetWork, Outlook, StoredFit
from reports.reads import series
from reports.trends import fleet
from reports.writes import shards
from shop.celery import app
from tests import world
from tests.reports import ageing

pytestmark = pytest.mark.django_db


def run(*command: str) -> tuple[str, str]:
    """What it says, and how it says that it comes on."""
    out, err = StringIO(), StringIO()
    call_command(*command, stdout=out, stderr=err)
    return out.getvalue(), err.getvalue()


def in_shards(monkeypatch: pytest.MonkeyPatch, size: int) -> None:
    begin = shards._begin
    monkeypatch.setattr(
        shards, "_begin", lambda kind, at, as_of, given: begin(kind, at, as_of, size)
    )


def test_a_fit_tells_how_far_it_is(monkeypatch: pytest.MonkeyPatch) -> None:
    ageing.fleet(5)
    in_shards(monkeypatch, 2)
    said, progress = run("fit_fleet")
    assert said.startswith("Fitted to 5 packs, facts through ")
    assert progress.splitlines() == [
        f"{done} of 3 shards done, {packs} packs" for done, packs in ((1, 2), (2, 4), (3, 5))
    ]


@pytest.mark.parametrize("how", ["ctrl-c", "sigterm"])
def test_stopped_it_goes_on_where_it_was(monkeypatch: pytest.MonkeyPatch, how: str) -> None:
    ageing.fleet(4)
    in_shards(monkeypatch, 2)
    read, seen = series.histories, []

    def stopping(known: Any) -> Any:
        seen.append(known)
        if len(seen) == 2 and how == "ctrl-c":
            raise KeyboardInterrupt
        if len(seen) == 2:
            signal.raise_signal(signal.SIGTERM)
        return read(known)

    handler = signal.getsignal(signal.SIGTERM)
    monkeypatch.setattr(series, "histories", stopping)
    with pytest.raises(CommandError, match=r"1 of 2 shards are done\. The same") as stopped:
        run("fit_fleet")
    assert stopped.value.returncode == 130
    assert signal.getsignal(signal.SIGTERM) == handler
    said, progress = run("fit_fleet")
    assert said.startswith("Fitted to 4 packs")
    assert progress.splitlines()[0] == "Goes on: 1 of 2 shards done, 2 packs"
    assert len(seen) == 3  # the first shard was not read again
    assert StoredFit.objects.count() == 1


def test_a_fit_that_fails_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    def failing(*args: Any, **keys: Any) -> Any:
        raise ZeroDivisionError

    ageing.fleet(2)
    monkeypatch.setattr(fleet, "estimate", failing)
    with pytest.raises(CommandError, match="The work failed: last step: ZeroDivisionError"):
        run("fit_fleet")


def test_outlooks_anew_of_all_and_of_one() -> None:
    ageing.fleet(3)
    assert run("refresh_outlooks")[0] == "3 outlooks worked out.\n"
    assert run("refresh_outlooks", "--pack", "tp-0001")[0] == "1 outlooks worked out.\n"
    told = Outlook.objects.filter(told_until__isnull=True)
    assert (Outlook.objects.count(), told.count()) == (4, 3)
    with pytest.raises(CommandError, match="No pack 'TP-9' is recorded"):
        run("refresh_outlooks", "--pack", "TP-9")


def test_outlooks_as_of_a_past_instant() -> None:
    ageing.fleet(3)
    then = world.later(days=500).isoformat()
    assert run("refresh_outlooks", "--as-of", then)[0] == "3 outlooks worked out.\n"
    assert run("refresh_outlooks", "--as-of", then, "--pack", "TP-0001")[0].startswith("1 ")
    assert Outlook.objects.filter(as_of=world.later(days=500)).count() == 4


def test_the_tasks_ask_and_the_sweep_does_it() -> None:
    ageing.fleet(3)
    then = datetime(2025, 1, 1, tzinfo=UTC)
    asked = timezone.now()
    for task in (tasks.fit_fleet, tasks.refresh_outlooks):
        task()
        task(then.isoformat())
    works = FleetWork.objects.filter(asked_at__gte=asked, finished_at__isnull=True)
    assert sorted(works.values_list("kind", flat=True)) == [
        "fit", "fit", "outlooks", "outlooks",
    ]  # fmt: skip
    tasks.sweep()
    assert not works.exists()
    assert not FleetWork.objects.exclude(error="").exists()
    assert StoredFit.objects.filter(facts_through=then).exists()
    assert Outlook.objects.filter(as_of=then).count() == 3


def test_a_task_does_the_shard_it_names() -> None:
    ageing.fleet(3)
    work = shards.ask(shards.FIT, at=timezone.now(), size=2)
    first, second = work.parts.order_by("number").values_list("pk", flat=True)
    assert [tasks.fleet_shard(pk) for pk in (second, second, first, first)] == [
        True, False, True, False,
    ]  # fmt: skip
    assert StoredFit.objects.get().packs == 3


def test_no_task_is_lost_with_its_worker_or_handed_out_while_it_runs() -> None:
    app.loader.import_default_modules()
    ours = [task for name, task in app.tasks.items() if name.startswith("reports.")]
    assert {task.name for task in ours} == {
        "reports.sweep", "reports.fit_fleet", "reports.refresh_outlooks", "reports.fleet_shard",
    }  # fmt: skip
    visible = settings.CELERY_BROKER_TRANSPORT_OPTIONS["visibility_timeout"]
    for task in ours:
        limit = task.time_limit or app.conf.task_time_limit
        soft = task.soft_time_limit or app.conf.task_soft_time_limit
        assert task.acks_late
        assert task.reject_on_worker_lost
        assert soft < limit < visible
        assert limit < shards.LAST_STEP.total_seconds()
