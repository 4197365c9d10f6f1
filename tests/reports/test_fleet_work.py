"""The fleet's work in shards: merged exactly, claimed by one, gone on with, ended once."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import pytest
from django.db import IntegrityError, transaction

from packs.models import Pack
from reports.models import FleetShard, FleetWork, Outlook, StoredFit
from reports.reads import series
from reports.reads.knowledge import known
from reports.reads.vantages import vantages
from reports.trends import fleet
from reports.writes import fits, fleet_work, outlooks, shards
from reports.writes.shards import FIT, OUTLOOKS
from tests import world
from tests.reports import ageing

pytestmark = pytest.mark.django_db

NOW = world.later(days=1200)
LAPSED = NOW + shards.CLAIM + timedelta(seconds=1)


def numbers(told: Any) -> Iterator[float]:
    """All numbers of a fit's parameters, in order."""
    if isinstance(told, dict):
        for name in sorted(told):
            yield from numbers(told[name])
    elif isinstance(told, list):
        for each in told:
            yield from numbers(each)
    else:
        yield float(told)


def whole(through: datetime = NOW) -> list[float]:
    """The fit over all packs at once, without shards."""
    seen = known(vantages(Pack.objects.order_by("pk"), as_of=through))
    told = fleet.gather(series.histories(seen)).only(np.flatnonzero(~np.isnan(seen.first_day)))
    made = fleet.estimate(told, through_day=through.timestamp() / 86_400.0)
    return list(numbers(made.parameters()))


def two_types() -> None:
    """A fleet of two types, with packs that were never checked among them."""
    ageing.fleet(11)
    other = world.pack_type("NM-28B")
    for serial in ("TP-b1", "TP-b2", "TP-b3"):
        ageing.drifting_pack(serial, other)
    world.pack("TP-bare")


def finished(work: FleetWork, at: datetime = NOW) -> FleetWork:
    while fleet_work.advance(at=at, work=work):
        pass
    work.refresh_from_db()
    return work


@pytest.mark.parametrize("size", [1, 2, 4, 7, 100])
def test_shards_of_any_size_give_the_whole_fit(size: int) -> None:
    two_types()
    work = finished(shards.ask(FIT, at=NOW, size=size))
    assert (work.shards, work.done, work.packs) == (-(-15 // size), work.shards, 14)
    assert work.fit is not None
    assert list(numbers(work.fit.parameters)) == pytest.approx(whole(), rel=1e-9, abs=1e-12)
    assert (work.fit.packs, work.builds, work.finished_at) == (14, 14, NOW)


def test_the_order_in_which_shards_are_done_makes_no_difference() -> None:
    two_types()
    work = shards.ask(FIT, at=NOW, size=4)
    for pk in work.parts.order_by("-number").values_list("pk", flat=True):
        assert fleet_work.take(pk, clock=lambda: NOW)
    work.refresh_from_db()
    assert work.fit is not None
    assert list(numbers(work.fit.parameters)) == pytest.approx(whole(), rel=1e-9, abs=1e-12)


def test_a_fleet_without_packs_is_fitted_too() -> None:
    assert fleet_work.fit_fleet(at=NOW).packs == 0


def test_one_pack_that_cannot_be_gathered_is_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    ageing.fleet(5)
    ageing.drifting_pack("TP-odd", Pack.objects.earliest("pk").pack_type, checks_taken=7)
    gathered = fleet.gather

    def failing(packs: Any) -> Any:
        if 7 in np.bincount(packs.check_pack):
            raise FloatingPointError("unforeseen")
        return gathered(packs)

    monkeypatch.setattr(fleet, "gather", failing)
    assert fleet_work.fit_fleet(at=NOW).packs == 5


def test_asked_again_it_goes_on() -> None:
    ageing.fleet(6)
    work = shards.ask(FIT, at=NOW, size=2)
    fleet_work.advance(at=NOW)
    again = shards.ask(FIT, at=NOW + timedelta(hours=1))
    assert (again.pk, again.done, again.shards) == (work.pk, 1, 3)
    assert shards.ask(FIT, at=NOW, as_of=NOW).pk != work.pk
    assert shards.ask(OUTLOOKS, at=NOW).pk != work.pk


def test_a_shard_is_claimed_by_one_and_lapses() -> None:
    ageing.fleet(4)
    work = shards.ask(FIT, at=NOW, size=2)
    first, second = shards.claim(at=NOW), shards.claim(at=NOW)
    assert first is not None
    assert second is not None
    assert first.pk != second.pk
    assert shards.claim(at=NOW) is None
    assert not fleet_work.advance(at=NOW)
    assert finished(work, LAPSED).fit is not None


def test_doubled_messages_do_a_shard_once() -> None:
    ageing.fleet(6)
    work = shards.ask(FIT, at=NOW, size=2)
    messages = [*work.parts.values_list("pk", flat=True)] * 3
    did = [fleet_work.take(pk, clock=lambda: NOW) for pk in messages]
    assert sum(did) == 3
    work.refresh_from_db()
    assert (work.done, work.packs) == (3, 6)
    assert StoredFit.objects.count() == 1


def test_who_was_slower_stores_nothing() -> None:
    ageing.fleet(4)
    work = shards.ask(FIT, at=NOW, size=4)
    slow = shards.claim(at=NOW)
    quick = shards.claim(at=LAPSED)
    assert slow is not None
    assert quick is not None
    fits.gather_shard(quick, at=LAPSED)
    assert not shards.close(slow, at=LAPSED, packs=99)
    shards.let_go(slow)
    work.refresh_from_db()
    assert (work.done, work.packs) == (1, 4)
    assert finished(work, LAPSED).fit is not None
    assert not shards.close(quick, at=LAPSED, packs=99)


def test_work_that_is_stopped_gives_its_claim_back(monkeypatch: pytest.MonkeyPatch) -> None:
    def stopped(*args: Any, **keys: Any) -> None:
        raise KeyboardInterrupt

    ageing.fleet(4)
    work = shards.ask(FIT, at=NOW, size=2)
    monkeypatch.setattr(series, "histories", stopped)
    with pytest.raises(KeyboardInterrupt):
        fleet_work.advance(at=NOW)
    monkeypatch.undo()
    assert not FleetShard.objects.exclude(claimed_until=None).exists()
    monkeypatch.setattr(fleet, "estimate", stopped)
    with pytest.raises(KeyboardInterrupt):
        finished(work)
    monkeypatch.undo()
    work.refresh_from_db()
    assert (work.done, work.claimed_until) == (2, None)
    assert finished(work).fit is not None


def test_a_worker_that_dies_after_the_fit_is_stored_leaves_one_fit_and_all_owed(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def died(**keys: Any) -> None:
        raise SystemExit

    ageing.fleet(3)
    Pack.objects.update(estimate_due_at=None)
    work = shards.ask(FIT, at=NOW)
    monkeypatch.setattr(fits, "owe_all", died)
    with pytest.raises(SystemExit):
        finished(work)
    monkeypatch.undo()
    assert finished(work).finished_at == NOW
    assert StoredFit.objects.count() == 1
    assert Pack.objects.filter(estimate_due_at=NOW).count() == 3


def test_a_shard_that_kills_its_worker_each_time_ends_the_work() -> None:
    ageing.fleet(2)
    work = shards.ask(FIT, at=NOW)
    at = NOW
    for _ in range(shards.MOST_TRIES):
        assert shards.claim(at=at) is not None  # and dies here
        at += shards.CLAIM + timedelta(seconds=1)
    assert shards.claim(at=at) is None
    assert finished(work, at).error == "given up: shard 1, begun 10 times"
    assert not fleet_work.advance(at=at)


def test_a_last_step_that_kills_its_worker_each_time_ends_the_work() -> None:
    work = shards.ask(FIT, at=NOW)
    at = NOW
    for _ in range(shards.MOST_TRIES):
        assert shards.claim_last_step(at=at) is not None  # and dies here
        at += shards.LAST_STEP + timedelta(seconds=1)
    assert finished(work, at).error == "given up: its last step, begun 10 times"


def test_outlooks_anew_are_each_worked_out_once() -> None:
    ageing.fleet(5)
    outlooks.work_out([*Pack.objects.values_list("pk", flat=True)], at=NOW)
    later = NOW + timedelta(hours=1)
    work = finished(shards.ask(OUTLOOKS, at=later, size=2), later)
    assert (work.shards, work.done, work.packs, work.fit) == (3, 3, 5, None)
    told = Outlook.objects.filter(told_until__isnull=True)
    assert {row.known_at for row in told} == {later}
    assert Outlook.objects.count() == 10


def test_outlooks_that_a_dead_worker_stored_are_not_stored_again() -> None:
    made = ageing.fleet(4)
    work = shards.ask(OUTLOOKS, at=NOW)
    shards.claim(at=NOW)
    outlooks.work_out([made[0].pk, made[1].pk], at=NOW)  # and dies here
    assert finished(work, LAPSED).done == 1
    assert Outlook.objects.count() == 4
    assert Outlook.objects.filter(pack=made[3], known_at=LAPSED).exists()


def test_outlooks_as_of_a_past_instant_are_stored_once_though_two_had_them() -> None:
    ageing.fleet(4)
    then = world.later(days=500)
    work = shards.ask(OUTLOOKS, at=NOW, as_of=then)
    slow, quick = shards.claim(at=NOW), shards.claim(at=LAPSED)
    assert slow is not None
    assert quick is not None
    outlooks.refresh_shard(quick, at=LAPSED)
    outlooks.refresh_shard(slow, at=LAPSED)
    assert Outlook.objects.filter(as_of=then).count() == 4
    assert not Outlook.objects.filter(told_until__isnull=True).exists()
    assert finished(work, LAPSED).packs == 4


def test_a_fit_for_a_past_instant_owes_nothing() -> None:
    ageing.fleet(3)
    Pack.objects.update(estimate_due_at=None)
    fleet_work.fit_fleet(at=NOW, as_of=world.later(days=300))
    assert not Pack.objects.exclude(estimate_due_at=None).exists()


def test_workers_are_called_once_and_again_after_a_while() -> None:
    ageing.fleet(4)
    work = shards.ask(FIT, at=NOW, size=2)
    parts = [*work.parts.order_by("number").values_list("pk", flat=True)]
    assert shards.uncalled(at=NOW) == parts
    assert shards.uncalled(at=NOW + timedelta(minutes=4)) == []
    assert fleet_work.take(parts[0], clock=lambda: NOW)
    assert shards.uncalled(at=NOW + timedelta(minutes=6)) == parts[1:]


@pytest.mark.parametrize("as_of", [None, NOW])
def test_the_database_keeps_one_work_of_a_kind(as_of: datetime | None) -> None:
    row = {"kind": FIT, "asked_at": NOW, "as_of": as_of, "checks_seen": 0, "shards": 1}
    FleetWork.objects.create(**row)
    with pytest.raises(IntegrityError), transaction.atomic():
        FleetWork.objects.create(**row)
    FleetWork.objects.update(finished_at=NOW)
    FleetWork.objects.create(**row)


def test_the_database_keeps_shards_as_they_can_be() -> None:
    ageing.fleet(1)
    work = shards.ask(FIT, at=NOW)
    for change in (
        lambda: FleetWork.objects.update(done=2),
        lambda: FleetShard.objects.update(last_pack=0),
        lambda: FleetShard.objects.create(work=work, number=1, first_pack=1, last_pack=1),
    ):
        with pytest.raises(IntegrityError), transaction.atomic():
            change()


def test_two_who_ask_at_once_get_the_same_work(monkeypatch: pytest.MonkeyPatch) -> None:
    ageing.fleet(1)
    work = shards.ask(FIT, at=NOW)
    monkeypatch.setattr(shards, "under_way", lambda *args, **keys: None)
    assert shards.ask(FIT, at=NOW).pk == work.pk
    assert FleetShard.objects.count() == 1
