"""Whether the register keeps up: what is owed, what comes in, which fit, what is late."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from packs.models import Pack, VoltageCheck
from reports.models import FleetWork
from reports.reads import watching
from reports.writes import fleet_work, shards, sweeping
from tests import world
from tests.reports import ageing

pytestmark = pytest.mark.django_db

NOW = world.later(days=1200)


def swept() -> None:
    while sweeping.sweep(at=NOW):
        pass


def late(**after: float) -> tuple[str, ...]:
    at = NOW + timedelta(**after)
    return watching.late(watching.watch(at=at), at=at)


def test_what_is_owed_and_since_when() -> None:
    ageing.fleet(3)
    Pack.objects.update(estimate_due_at=NOW)
    Pack.objects.filter(serial="TP-0001").update(estimate_due_at=NOW - timedelta(hours=2))
    Pack.objects.filter(serial="TP-0002").update(estimate_due_at=NOW + timedelta(hours=1))
    assert watching.owed(at=NOW) == watching.Owed(2, NOW - timedelta(hours=2))
    Pack.objects.update(estimate_due_at=None)
    assert watching.owed(at=NOW) == watching.Owed(0, None)


def test_intake_counts_by_when_it_was_recorded() -> None:
    pack = world.pack("TP-1")
    assert watching.intake(at=NOW) == watching.Intake(0, 0, 0)
    for hours in (-700, -300, -30, -23, -22, -1.5, -0.9, -0.1):
        ageing.record(pack, 1200 + hours / 24, 0.2)
    assert watching.intake(at=NOW) == watching.Intake(2, 5, 8)
    assert watching.intake(at=NOW + timedelta(days=3)) == watching.Intake(0, 0, 8)


@pytest.mark.parametrize("days", [-1.0, 0.0, 199.9, 200.0, 401.0, 610.0])
def test_the_first_check_since_is_found_in_few_queries(days: float) -> None:
    for pack in ageing.fleet(1):
        for turn in range(40):
            ageing.record(pack, 601.0 + turn, 0.2)
    instant = world.later(days=days)
    true = VoltageCheck.objects.filter(recorded_at__gte=instant).order_by("pk").first()
    with CaptureQueriesContext(
        connection,
    ) as asked:
        found = watching.first_check_since(instant)
    assert found == true
    assert len(asked) <= 8
    assert watching.first_check_since(NOW) is None


def test_a_fit_with_its_builds() -> None:
    ageing.fleet(6)
    swept()
    (last,) = watching.last_fits()
    assert (last.fit.packs, last.fit.fitted_at, last.builds) == (6, NOW, 6)
    assert late() == ()


def test_progress_of_what_is_under_way_is_seen() -> None:
    ageing.fleet(6)
    work = shards.ask(shards.FIT, at=NOW, size=2)
    fleet_work.advance(at=NOW, work=work)
    (seen,) = watching.watch(at=NOW).under_way
    assert (seen.done, seen.shards, seen.packs) == (1, 3, 2)
    assert "work" not in late()
    assert "work" in late(minutes=61)


def test_what_waits_too_long_is_late() -> None:
    ageing.drifting_pack("TP-1")
    Pack.objects.update(estimate_due_at=NOW)
    assert late(minutes=9) == ()
    assert late(minutes=11) == ("owed",)


def test_a_fit_is_late_when_something_new_waits_for_it() -> None:
    ageing.fleet(6)
    swept()
    Pack.objects.update(estimate_due_at=None)
    assert late(days=3) == ()
    ageing.record(Pack.objects.get(serial="TP-0001"), 1203, 0.5)
    Pack.objects.update(estimate_due_at=None)
    assert late(days=3, minutes=10) == ()
    assert late(days=3, minutes=12) == ("fit",)


def test_a_first_fit_is_late_too() -> None:
    ageing.fleet(6)
    Pack.objects.update(estimate_due_at=None)
    assert late() == ("fit",)


def test_a_fit_that_failed_is_late_until_the_next_is_made() -> None:
    ageing.fleet(6)
    work = shards.ask(shards.FIT, at=NOW)
    shards.end(work, at=NOW, error="shard 1: ValueError")
    Pack.objects.update(estimate_due_at=None)
    assert late() == ("failed",)
    fleet_work.fit_fleet(at=NOW + timedelta(minutes=1))
    assert FleetWork.objects.count() == 2
    assert "failed" not in late(minutes=2)
