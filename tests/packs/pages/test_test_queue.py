"""The queue of tests, and the tests of a pack on the bench."""

from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client
from django.utils import timezone

from packs.models import Module, PackType, PlannedTest, Visit
from packs.rules.identity import encode
from packs.writes import module_tests, planned_tests, swaps, visits
from tests import world
from tests.pages import inline, signed_in, text, words

pytestmark = pytest.mark.django_db


@pytest.fixture
def bench() -> Client:
    world.module("M-1")
    return signed_in("bench")


def planned(kind: str = "capacity", hours: float = 24, **more: Any) -> PlannedTest:
    now = timezone.now()
    due = {"planned_at": now - timedelta(days=3), "due_at": now + timedelta(hours=hours)}
    entry = {"module": "M-1", "kind": kind, **due, **more}
    return planned_tests.plan_test(by=world.actor(), at=now, entry=entry).row


def local(hours: float) -> str:
    when = timezone.localtime(timezone.now() + timedelta(hours=hours))
    return when.strftime("%Y-%m-%dT%H:%M")


def test_a_test_is_planned_started_and_taken_off(bench: Client) -> None:
    assert "No test waits" in words(text(bench, "/tests/"))
    sent = {"sent_as": str(uuid4()), "module": "M-1", "kind": "stand", "channel": "4"}
    wrong = bench.post("/tests/plan/", {**sent, "due_at": local(-48)})
    assert 'id="id_due_at-error"' in wrong.content.decode()
    bench.post("/tests/plan/", {**sent, "due_at": local(48)})
    row = PlannedTest.objects.get()
    page = text(bench, "/tests/")
    assert inline(page) == []
    assert "stand, channel 4" in words(page)
    assert "/modules/M-1/test/?kind=stand&amp;channel=4" in page
    bench.post(f"/tests/{encode('pn', row.pk)}/start/")
    assert Module.objects.get().status == "on_test"
    assert "On a tester" in words(text(bench, "/tests/"))
    assert bench.get(f"/tests/{encode('pn', row.pk)}/start/").status_code == 302
    bench.post("/modules/M-1/off-test/")
    assert Module.objects.get().status == "stock"


def test_what_is_late_stands_first_and_what_is_done_last(bench: Client) -> None:
    planned("capacity", -1, note="after the stand")
    planned("resistance", 5)
    page = words(text(bench, "/tests/"))
    assert "1 test overdue" in page
    assert page.index("overdue since") < page.index("Waiting")
    entry = {"module": "M-1", "kind": "capacity", "started_at": timezone.now()}
    entry["measured"] = {"capacity_ah": 6.0}
    module_tests.record_module_test(by=world.actor(), at=timezone.now(), entry=entry)
    page = words(text(bench, "/tests/"))
    assert "Nothing is overdue, 1 waits" in page
    assert "Done lately" in page


def test_a_quarantined_module_does_not_come_into_stock_by_the_way(bench: Client) -> None:
    row = planned()
    Module.objects.update(status="quarantined")
    bench.post(f"/tests/{encode('pn', row.pk)}/start/")
    bench.post("/modules/M-1/off-test/")
    assert Module.objects.get().status == "quarantined"
    assert "M-1 is quarantined and stays so" in words(text(bench, "/tests/"))


def test_a_scanned_tag_opens_what_waits_for_it(bench: Client) -> None:
    assert bench.get("/tests/?tag=m-1").headers["Location"] == "/modules/M-1/test/"
    planned("load", channel="2")
    opened = bench.get("/tests/?tag=M-1").headers["Location"]
    assert opened == "/modules/M-1/test/?kind=load&channel=2"
    assert 'value="2"' in text(bench, opened)
    assert "No module “M-7” is recorded" in words(text(bench, "/tests/?tag=M-7"))
    desk = signed_in("desk")
    assert "Plan a test" not in words(text(desk, "/tests/?tag=M-1"))
    assert desk.post("/tests/plan/").status_code == 403


def on_bench(count: int) -> str:
    """A visit of a pack whose first positions hold tagged modules; its key."""
    world.pack_type()
    PackType.objects.update(bench={"pass_marks": {"capacity_ah": 5.0}})
    world.pack(at=world.BEGUN)
    changes = []
    for place in range(1, count + 1):
        world.module(f"T-{place}")
        changes.append(
            {"position": place, "removed": None, "fitted": f"T-{place}", "orientation": "normal"}
        )
    swap = {"pack": "TP-0001", "done_at": world.later(1), "kind": "module", "changes": changes}
    swaps.record_swap(by=world.actor(), at=world.later(2), entry=swap)
    opened = {"pack": "TP-0001", "opened_at": world.later(3)}
    row = visits.open_visit(by=world.actor(), at=world.later(3), entry=opened).row
    return encode(Visit.PREFIX, row.pk)


def measured_of(tag: str, kind: str = "capacity", /, **measured: Any) -> None:
    entry = {"module": tag, "kind": kind, "started_at": world.later(4), "measured": measured}
    module_tests.record_module_test(by=world.actor(), at=world.later(5), entry=entry)


def test_the_modules_of_a_pack_are_ranked_among_those_measured_alike(bench: Client) -> None:
    key = on_bench(6)
    for place, figure in enumerate((6.1, 6.2, 6.0, 6.15, 6.05, 4.1), 1):
        measured_of(f"T-{place}", capacity_ah=figure)
    currents = {"i1_a": 0.0, "u2_v": 7.5, "i2_a": 30.0}
    measured_of("T-1", "resistance", u1_v=7.8, pulse_s=10.0, **currents)
    measured_of("T-2", "resistance", u1_v=7.9, pulse_s=10.0, **currents)
    measured_of("T-3", "resistance", u1_v=7.7, pulse_s=0.5, **currents)
    page = text(bench, f"/visits/{key}/job/tests/")
    assert inline(page) == []
    read = words(page)
    assert "1 module fails" in read
    assert "Position 6 (T-6)" in read
    assert "4.1 Ah 6 of 6 fails, apart from its mates" in read
    assert "6.2 Ah 1 of 6 passes" in read
    assert "10 mΩ 1 of 2" in read
    assert "6.67 mΩ not judged" in read
    assert "22 positions hold a module without a tag" in read
    assert f"/modules/T-1/test/?visit={key}" in page


def test_a_test_from_the_job_belongs_to_its_visit(bench: Client) -> None:
    key = on_bench(1)
    sent = {"sent_as": str(uuid4()), "done_by": "bench", "started_at": "2024-05-02T10:00"}
    told = {**sent, "act": "store", "measured__capacity_ah": "6"}
    response = bench.post(f"/modules/M-1/test/?visit={key}", told)
    assert response.headers["Location"] == f"/visits/{key}/job/tests/"
    assert "M-1 : capacity 6 Ah" in words(text(bench, f"/visits/{key}/job/tests/"))
