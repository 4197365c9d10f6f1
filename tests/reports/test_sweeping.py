"""What is owed is marked in the database, claimed by one, worked out, and survives a crash."""

from datetime import timedelta
from typing import Any

import numpy as np
import pytest
from django.db import IntegrityError

from packs.models import Pack
from reports.models import FleetWork, Outlook, StoredFit
from reports.reads import outlooks as reading
from reports.trends import fleet
from reports.writes import fleet_work, outlooks, shards, sweeping
from tests import world
from tests.reports import ageing

pytestmark = pytest.mark.django_db

NOW = world.later(days=1200)


def swept(at: Any = NOW) -> int:
    """Sweep until nothing is owed; how much was done."""
    done = 0
    while batch := sweeping.sweep(at=at):
        done += batch
    return done


def test_one_sweep_works_out_what_a_write_owed() -> None:
    pack = ageing.drifting_pack("TP-1", checks_taken=3)
    assert pack.estimate_due_at is not None
    swept()
    assert reading.present(pack) is not None
    assert swept() == 0
    ageing.record(pack, 1100, 0.9)
    assert swept(NOW + timedelta(seconds=1)) == 1
    told = reading.present(pack)
    assert told is not None
    assert told.pack_revision == 5


def test_what_is_claimed_is_not_claimed_twice() -> None:
    made = ageing.fleet(5)
    first = sweeping.claim(at=NOW, batch=3)
    second = sweeping.claim(at=NOW, batch=3)
    assert len(first) == 3
    assert sorted([*first, *second]) == sorted(pack.pk for pack in made)


def test_the_claim_of_a_worker_that_died_lapses() -> None:
    pack = ageing.drifting_pack("TP-1", checks_taken=3)
    assert sweeping.claim(at=NOW) == [pack.pk]  # and dies here
    assert swept(NOW + timedelta(seconds=30)) == 0
    swept(NOW + sweeping.CLAIM + timedelta(seconds=1))
    assert reading.present(pack) is not None


def test_of_two_sweeps_at_once_one_stores(monkeypatch: pytest.MonkeyPatch) -> None:
    pack = ageing.drifting_pack("TP-1", checks_taken=3)
    worked_out, stored = reading.estimate, []

    def overtaken(views: Any, fit: Any) -> Any:
        made = worked_out(views, fit)
        monkeypatch.setattr(reading, "estimate", worked_out)
        stored.append(outlooks.work_out([pack.pk], at=NOW))
        return made

    monkeypatch.setattr(reading, "estimate", overtaken)
    stored.append(outlooks.work_out([pack.pk], at=NOW))
    assert stored == [1, 0]
    assert Outlook.objects.count() == 1


@pytest.mark.parametrize("error", [np.linalg.LinAlgError, IndexError, IntegrityError])
def test_a_pack_whose_figures_fail_holds_up_no_other(
    monkeypatch: pytest.MonkeyPatch, error: type[Exception]
) -> None:
    bad, good = (ageing.drifting_pack(serial, checks_taken=3) for serial in ("TP-1", "TP-2"))
    worked_out = reading.estimate

    def failing(views: Any, fit: Any) -> Any:
        if bad.pk in {view.pack.pk for view in views}:
            raise error("unforeseen")
        return worked_out(views, fit)

    monkeypatch.setattr(reading, "estimate", failing)
    sweeping.sweep(at=NOW)
    assert reading.present(good) is not None
    assert reading.present(bad) is None
    assert sweeping.claim(at=NOW) == []
    assert sweeping.claim(at=NOW + outlooks.PUT_OFF + timedelta(seconds=1)) == [bad.pk]


def test_the_fleet_is_fitted_when_there_is_enough_to_learn_from() -> None:
    ageing.fleet(4)
    swept()
    assert not StoredFit.objects.exclude(packs=0).exists()
    ageing.drifting_pack("TP-more", kind=Pack.objects.first().pack_type)  # type: ignore[union-attr]
    swept()
    fitted = StoredFit.objects.exclude(packs=0).get()
    assert fitted.packs == 5
    used = set(Outlook.objects.filter(told_until__isnull=True).values_list("fit_id", flat=True))
    assert used == {fitted.pk}


def test_a_day_later_it_is_fitted_again_only_if_something_is_new() -> None:
    ageing.fleet(6)
    swept()
    swept(NOW + timedelta(days=2))
    assert StoredFit.objects.exclude(packs=0).count() == 1
    ageing.record(Pack.objects.get(serial="TP-0000"), 1199, 0.5)
    swept(NOW + timedelta(days=2, seconds=1))
    assert StoredFit.objects.exclude(packs=0).count() == 2


def test_a_fit_that_another_sweep_has_begun_is_left_to_it() -> None:
    ageing.fleet(6)
    while claimed := sweeping.claim(at=NOW):
        outlooks.work_out(claimed, at=NOW)
    assert fleet_work.ask_if_due(at=NOW)
    assert shards.claim(at=NOW) is not None  # and dies here
    assert swept() == 0
    assert not fleet_work.ask_if_due(at=NOW)
    swept(NOW + shards.CLAIM + timedelta(seconds=1))
    assert FleetWork.objects.get().fit is not None


@pytest.mark.parametrize("step", ["gather", "estimate"])
def test_a_fit_that_fails_is_told_and_tried_again_later(
    monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    def failing(*args: Any, **keys: Any) -> Any:
        raise np.linalg.LinAlgError("unforeseen")

    ageing.fleet(6)
    monkeypatch.setattr(fleet, step, failing)
    if step == "gather":
        monkeypatch.setattr(fleet, "merge", failing)
    swept()
    failed = FleetWork.objects.get()
    assert (failed.fit, failed.finished_at) == (None, NOW)
    assert "LinAlgError" in failed.error
    monkeypatch.undo()
    assert not StoredFit.objects.exclude(packs=0).exists()
    assert swept(NOW + timedelta(minutes=59)) == 0
    swept(NOW + timedelta(minutes=61))
    assert StoredFit.objects.get(packs=6)
