"""The manager's look at the register itself."""

from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

from packs.models import Pack
from reports.writes import fleet_work, shards
from tests import pages, world
from tests.reports import ageing

pytestmark = pytest.mark.django_db

WATCH = "/watch/"


def seen(client: Client | None = None) -> str:
    """What the manager reads."""
    html = pages.text(client or pages.signed_in("manager"), WATCH)
    assert pages.inline(html) == []
    return pages.words(html)


def owe_nothing() -> None:
    Pack.objects.update(estimate_due_at=None)


def fitted_fleet() -> None:
    ageing.fleet(6)
    fleet_work.fit_fleet(at=timezone.now())
    owe_nothing()


@pytest.mark.parametrize(("role", "status"), [("desk", 403), ("bench", 403), ("manager", 200)])
def test_it_is_the_manager_s(role: str, status: int) -> None:
    client = pages.signed_in(role)
    pages.text(client, WATCH, status)
    assert (WATCH in pages.text(client, "/search/")) == (role == "manager")


def test_a_stranger_signs_in_first(client: Client) -> None:
    response = client.get(WATCH)
    assert (response.status_code, response["Location"]) == (302, f"/sign-in/?next={WATCH}")


def test_an_empty_register_says_what_comes_first() -> None:
    told = seen()
    assert "Everything is worked out; the fleet was not fitted yet." in told
    assert "The fleet is fitted when 20 voltage checks are recorded" in told


def test_when_all_is_done_it_says_so_and_when_the_last_fit_was() -> None:
    fitted_fleet()
    told = seen()
    assert "Everything is worked out; the last fit was today, " in told
    assert "Checks in all about 24" in told
    assert "fit the present done" in told


def test_what_is_being_worked_out_is_said_calmly() -> None:
    fitted_fleet()
    now = timezone.now()
    Pack.objects.filter(serial="TP-0001").update(estimate_due_at=now - timedelta(minutes=2))
    work = shards.ask(shards.FIT, at=now, size=2)
    fleet_work.advance(at=now, work=work)
    told = seen()
    assert "One outlook is being worked out and a fit is under way, 1 of 3 shards done;" in told
    assert "fit the present under way 1 of 3 2" in told
    assert "Outlooks owed 1, the oldest for two minutes" in told


def test_what_is_late_stands_first_with_what_to_do() -> None:
    fitted_fleet()
    now = timezone.now()
    Pack.objects.filter(serial__lte="TP-0002").update(estimate_due_at=now - timedelta(hours=2))
    work = shards.ask(shards.FIT, at=now - timedelta(hours=3), as_of=world.later(days=300))
    client = pages.signed_in("manager")
    told = seen(client)
    assert "Three packs wait for an outlook, the oldest for two hours and one piece of" in told
    assert "of fleet work still not done after an hour or more; the last fit was" in told
    assert "See that something sweeps" in told
    assert "The same command begun again goes on from there" in told
    shards.end(work, at=now)
    Pack.objects.filter(serial__lte="TP-0001").update(estimate_due_at=None)
    assert "One pack waits for an outlook, for two hours; " in seen(client)


def test_a_fit_that_failed_tells_its_error() -> None:
    fitted_fleet()
    work = shards.ask(shards.FIT, at=timezone.now())
    shards.end(work, at=timezone.now(), error="shard 1: ValueError")
    told = seen()
    assert "The newest try of a fit failed; the last fit was today" in told
    assert "It is tried again every hour" in told
    assert "shard 1: ValueError" in told
