"""A trend begins anew with joints and leads undone, and with equalising where it lasts."""

from dataclasses import replace

import numpy as np
import pytest

from packs.models import Pack, Reassembly
from packs.reads import beginnings, names
from packs.writes import voiding
from reports.reads import pack_knowledge, pack_page, pack_records
from reports.reads.knowledge import known, of_one
from reports.reads.series import histories
from reports.reads.vantages import vantages
from reports.trends.history import PackHistory, since
from reports.writes import outlooks
from tests import world
from tests.reports import ageing
from tests.reports.rejoined import job, rejoin
from tests.reports.test_pack_records import plain
from tests.reports.test_series import swap

pytestmark = pytest.mark.django_db
DAY_S = 86_400.0


@pytest.fixture
def pack() -> Pack:
    """Checked under load at days 0, 100 and 200; 28 modules in 14 blocks."""
    made = world.pack("TP-0001")
    for days in (0, 100, 200):
        ageing.record(made, days, 0.3)
    made.refresh_from_db()
    return made


def told(pack: Pack, **changed: object) -> PackHistory:
    (view,) = vantages([names.packs().get(pk=pack.pk)])
    return histories(known([replace(view, **changed)])).one(0)  # type: ignore[arg-type]


def blocks(history: PackHistory, renewal: int = 0) -> list[int]:
    return (np.flatnonzero(history.renewed[renewal]) + 1).tolist()


def test_a_bus_bar_touches_both_its_sides_and_the_rest_keeps_its_own(pack: Pack) -> None:
    rejoin(pack, 150, "bus_bar", 2)
    rejoin(pack, 250, "bus_bar", 28)
    found = told(pack)
    assert [blocks(found, 0), blocks(found, 1)] == [[1, 2], [14]]
    assert since(found) == world.later(days=250).timestamp() / DAY_S


def test_leads_touch_the_places_named_or_all(pack: Pack) -> None:
    rejoin(pack, 150, "sense_harness", 5, 7)
    rejoin(pack, 160, "sense_harness")
    rejoin(pack, 170, "cover")
    found = told(pack)
    assert [blocks(found, 0), blocks(found, 1)] == [[3, 4], list(range(1, 15))]
    assert found.renewal_days.size == 2


@pytest.mark.parametrize(("chemistry", "begins"), [("nimh", 0), ("li_ion", 1)])
def test_equalising_begins_a_build_where_it_lasts(chemistry: str, begins: int) -> None:
    kind = world.pack_type("ANY", chemistry=chemistry)
    pack = world.pack("TP-0002", kind)
    rejoin(pack, 10, "", kind="equalised")
    assert len(told(pack).renewal_days) == begins
    assert told(pack).renewed.all()


def test_the_same_is_known_either_way(pack: Pack) -> None:
    job(pack, 150, 5)
    swap(pack, 120, 9)
    rejoin(pack, 110, "sense_harness", 3, recorded_at=world.later(days=300))
    gone = rejoin(pack, 210, "module", 4)
    swap(pack, 220, kind="component")
    voiding.void(gone, by=world.actor(), at=world.later(days=310), reason="another pack")
    row = Pack.objects.select_related("pack_type").get(pk=pack.pk)
    page_knows = pack_knowledge.known(pack_records.read(row))
    assert plain(of_one(page_knows)) == plain(known(vantages([row])))
    assert len(page_knows.renewals) == 8
    assert pack_records.read(row).rebuilt_at == beginnings.of_packs([pack.pk])[pack.pk]


def test_what_is_known_of_many_is_what_is_known_of_each(pack: Pack) -> None:
    other = world.pack("TP-0000")
    job(other, 30, 3)
    swap(pack, 40, 2, 1)
    job(pack, 20, 2)
    rows = [names.packs().get(serial=serial) for serial in ("TP-0001", "TP-0000")]
    both, alone = known(vantages(rows)), [known(vantages([row])) for row in rows]
    assert both.renewal_pack.tolist() == [0, 0, 0, 1, 1, 1]
    assert both.module.tolist() == [*alone[0].module, *alone[1].module]
    assert (np.diff(both.renewed) >= 0).all()


def test_a_step_counts_from_its_revision_until_it_was_voided(pack: Pack) -> None:
    step = rejoin(pack, 150, "bus_bar", 2)
    voiding.void(step, by=world.actor(), at=world.later(days=300), reason="another bar")
    assert step.revision is not None
    assert told(pack).renewal_days.size == 0
    assert told(pack, revision=step.revision).renewal_days.size == 1
    assert told(pack, revision=step.revision - 1).renewal_days.size == 0
    early = world.later(days=149)
    assert told(pack, revision=step.revision, as_of=early).renewal_days.size == 0


def test_the_steps_of_a_job_are_one_mark_at_its_last(pack: Pack) -> None:
    swap(pack, 149, 3)
    steps = job(pack, 150, 20)
    trail = pack_page.gather(pack, at=world.later(days=201)).trail
    assert trail.change_days == (steps[-1].happened_at.timestamp() / DAY_S,)
    assert [reading.build for reading in trail.read] == [0, 0, 1]
    rejoin(pack, 250, "bus_bar", 1)
    trail = pack_page.gather(pack, at=world.later(days=251)).trail
    assert len(trail.change_days) == 2
    assert trail.last is None


def test_the_outlook_follows(pack: Pack) -> None:
    steps = job(pack, 150, 3)
    at = world.later(days=201)
    row = names.packs().get(pk=pack.pk)
    outlooks.work_out([pack.pk], at=at)
    assert outlooks.present(row, at=at).since == steps[-1].happened_at


def test_a_late_step_begins_its_build_where_it_was_done(pack: Pack) -> None:
    rejoin(pack, 110, "bus_bar", 4, recorded_at=world.later(days=400))
    found = told(pack)
    assert found.renewal_days.tolist() == [world.later(days=110).timestamp() / DAY_S]
    assert np.count_nonzero(found.days >= found.renewal_days[0]) == 1


def test_the_work_of_one_visit_is_one_repair(pack: Pack) -> None:
    job(pack, 150, 4)
    assert beginnings.repairs(pack.pack_type) == 1
    swap(pack, 160, 3)
    swap(pack, 170, 4)
    visit = Reassembly.objects.values_list("visit", flat=True)[0]
    assert beginnings.repairs(pack.pack_type) == 3
    pack.since = beginnings.of_packs([pack.pk])[pack.pk][-1]
    assert beginnings.visits_of([pack]) == {}
    pack.since = Reassembly.objects.latest("happened_at").happened_at
    assert beginnings.visits_of([pack]) == {pack.pk: visit}
