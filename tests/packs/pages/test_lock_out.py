"""The pages of a lock-out, its end, the hours and incidents: what they ask, say and store."""

from collections.abc import Mapping
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from packs.models import Equipment, Incident, LockOut, ReEnergising, Site, Visit, WorkTime
from packs.rules.identity import encode
from packs.writes import lock_outs, re_energisings
from tests import pages, world
from tests.packs.api.test_lock_outs import BENCH, body, ended, make_tools

pytestmark = pytest.mark.django_db
TICKS = (
    "worn-eye_protection", "worn-gloves_air_tested", "worn-protectors", "worn-insulated_tools",
    "done-key_away", "done-twelve_v_off", "done-switch_out", "done-covers",
)  # fmt: skip
OUT = ("tools_out", "tools_counted", "covers_on", "everybody_clear")


@pytest.fixture
def visit() -> Visit:
    """A visit of a pack whose switch parts it 10 and 18, with two people and sound tools."""
    pack = world.pack(kind=world.pack_type(bench=BENCH))
    for code in ("kim", "lee"):
        world.person(code)
    make_tools()
    return Visit.objects.create(
        pack=pack, opened_at=world.later(days=60), state="open", **world.posted(b"-")
    )


@pytest.fixture
def bench() -> Client:
    return pages.signed_in("bench")


def told(response: Any) -> str:
    """What a reader reads."""
    return pages.words(response.content.decode())


def key(visit: Visit) -> str:
    return encode(Visit.PREFIX, visit.pk)


def address(name: str, visit: Visit) -> str:
    return reverse(name, args=[key(visit)])


def sent(**changes: Any) -> dict[str, Any]:
    """The lock-out form as it is filled in at the bench."""
    said: Mapping[str, Any] = {
        "sent_as": "0b6b1f0c-4c6e-4d0d-8f6f-6d1f8e0e7a11",
        "done_by": "kim",
        "at": "2024-05-02T09:00",
        "gloves": "G-1",
        "switch_kept_by": "kim",
        "waited_min": "12",
        "meter": "DMM-1",
        "source_v": "12,6",
        "source_before_v": "12.6",
        "readings__plus_minus_v": "0.4",
        "readings__plus_case_v": "0",
        "readings__minus_case_v": "-0.2",
        "source_after_v": "12.5",
    }
    ticks = {tick.replace("-", "__"): "on" for tick in TICKS}
    return {name: value for name, value in {**said, **ticks, **changes}.items() if value != ""}


def recorded(visit: Visit, name: str = "a") -> LockOut:
    entry = {**body(key(visit)), "at": world.later(days=62), "external_id": name}
    return lock_outs.record_lock_out(by=world.actor(), at=world.later(days=63), entry=entry).row


def test_before_it_the_page_says_what_will_stay_live(bench: Client, visit: Visit) -> None:
    shown = told(bench.get(address("job-lock-out", visit)))
    assert "172.8 V will be live at the most on the pack side" in shown
    assert "between the ends of modules 11 to 28, the largest of 2 pieces" in shown
    assert "class 00 or higher: the whole pack has up to 268.8 V" in shown
    assert "10 min at least" in shown
    assert "below 50 V d.c." in shown
    assert "Local codes and licensed practice decide; this record is no permission." in shown


def test_a_lock_out_is_stored_once_and_then_shown(bench: Client, visit: Visit) -> None:
    where = address("job-lock-out", visit)
    for _ in range(2):
        response = bench.post(where, sent())
        assert response.status_code == 302, told(response)
    row = LockOut.objects.get()
    assert row.done_by is not None
    assert (row.done_by.code, row.readings["source_v"], row.readings["plus_case_v"]) == (
        "kim",
        12.6,
        0.0,
    )
    shown = told(bench.get(where))
    assert "172.8 V is live at the most" in shown
    assert "kept by Kim" in shown
    assert "Store the lock-out" not in shown


@pytest.mark.parametrize("tick", TICKS)
def test_each_tick_that_is_missing_is_told_beside_it(
    bench: Client, visit: Visit, tick: str
) -> None:
    response = bench.post(address("job-lock-out", visit), sent(**{tick.replace("-", "__"): ""}))
    assert response.status_code == 422
    assert "and confirm it." in told(response)
    assert f'id="id_{tick.replace("-", "__")}-error"' in response.content.decode()
    assert not LockOut.objects.exists()


def test_what_is_refused_stays_typed(bench: Client, visit: Visit) -> None:
    Equipment.objects.filter(code="G-1").update(issued_on=world.later(days=-130).date())
    Equipment.objects.filter(code="G-1").update(checked_on=world.later(days=-131).date())
    response = bench.post(
        address("job-lock-out", visit), sent(readings__plus_minus_v="61", note="slow")
    )
    shown = told(response)
    assert "Keep away, wait, find what feeds it, and measure again." in shown
    assert "The test of gloves G-1 held until" in shown
    assert 'value="61"' in response.content.decode()
    assert 'value="slow"' in response.content.decode()


def test_a_second_person_is_asked_for_where_the_site_wants_one(bench: Client, visit: Visit) -> None:
    Site.objects.create(
        code="m", name="M", time_zone="UTC", rules={"second_person": True}, **world.posted(b"-")
    )
    where = address("job-lock-out", visit)
    Equipment.objects.filter(code="DMM-1").update(due_on=world.later(days=70).date())
    shown = told(bench.get(where))
    assert "asked for: somebody else stands by" in shown
    assert "standing by optional" not in shown
    assert "DMM-1, overdue since 10 May 2024" in shown
    assert "name who" in told(bench.post(where, sent()))
    assert bench.post(where, sent(second_person="lee")).status_code == 302


def test_re_energising_from_the_page(bench: Client, visit: Visit) -> None:
    where = address("job-re-energise", visit)
    assert "No lock-out stands on this visit" in told(bench.get(where))
    recorded(visit)
    said = {"sent_as": "0b6b1f0c-4c6e-4d0d-8f6f-6d1f8e0e7a12", "done_by": "lee"}
    said["at"] = "2024-05-02T15:00"
    refused = bench.post(where, said)
    assert refused.status_code == 422
    assert "See that everybody is clear of car and pack" in told(refused)
    for _ in range(2):
        assert (
            bench.post(where, {**said, **{f"done__{name}": "on" for name in OUT}}).status_code
            == 302
        )
    assert ReEnergising.objects.get().done_by is not None
    shown = told(bench.get(where))
    assert "The pack is whole and live since" in shown
    assert "up to 268.8 V" in shown
    assert "To open it again needs a new lock-out." in shown


def test_the_page_says_what_stands_in_the_way(bench: Client, visit: Visit) -> None:
    row = recorded(visit)
    row.teardowns.create(
        visit=visit, pack=visit.pack, revision=9, happened_at=world.later(days=62.1),
        part="bus_bar", places=[3], **world.posted(b"-"),
    )  # fmt: skip
    shown = told(bench.get(address("job-re-energise", visit)))
    assert "Not yet. What stands in the way" in shown
    assert "Bus bar after module 3 is still out." in shown
    assert "Store the re-energising" not in shown
    live = told(bench.get(address("job-lock-out", visit)))
    assert "the largest of 3 pieces" in live
    assert "Modules 4 to 10: up to 67.2 V" in live


def test_hours_by_start_and_stop(bench: Client, visit: Visit) -> None:
    where = address("job-hours", visit)
    start = {"sent_as": "0b6b1f0c-4c6e-4d0d-8f6f-6d1f8e0e7a13", "done_by": "kim"}
    start |= {"stage": "teardown", "at": "2024-05-02T09:00"}
    for _ in range(2):
        assert bench.post(where, start).status_code == 302
    (row,) = WorkTime.objects.all()
    again = {**start, "sent_as": "0b6b1f0c-4c6e-4d0d-8f6f-6d1f8e0e7a14"}
    refused = bench.post(where, again)
    assert refused.status_code == 422
    assert "stop it first" in told(refused)
    stop = {"sent_as": "0b6b1f0c-4c6e-4d0d-8f6f-6d1f8e0e7a15"}
    stop |= {"running": encode(WorkTime.PREFIX, row.pk), "typed_at": "2024-05-02T10:35:00Z"}
    for _ in range(2):
        assert bench.post(where, stop).status_code == 302
    shown = told(bench.get(where))
    assert "1 h 35 min so far." in shown
    assert WorkTime.objects.filter(voided_at__isnull=True).count() == 1
    late = bench.post(where, {**stop, "sent_as": "0b6b1f0c-4c6e-4d0d-8f6f-6d1f8e0e7a16"})
    assert late.status_code == 422
    assert "was voided before" in told(late)


def test_an_incident_is_noted_on_a_visit_and_on_none(visit: Visit) -> None:
    desk = pages.signed_in("desk")
    said = {"sent_as": "0b6b1f0c-4c6e-4d0d-8f6f-6d1f8e0e7a17", "kind": "near_miss"}
    said |= {"harm": "none", "what": "a spanner fell between two bars", "at": "2024-05-02T09:00"}
    where = f"{reverse('incident-new')}?visit={key(visit)}"
    for _ in range(2):
        assert desk.post(where, said).status_code == 302
    other = {**said, "sent_as": "0b6b1f0c-4c6e-4d0d-8f6f-6d1f8e0e7a18", "what": "a wet floor"}
    assert desk.post(reverse("incident-new"), other).status_code == 302
    assert [row.visit_id for row in Incident.objects.order_by("pk")] == [visit.pk, None]
    assert "a spanner fell between two bars" in told(desk.get(where))
    bare = desk.post(where, {"sent_as": "0b6b1f0c-4c6e-4d0d-8f6f-6d1f8e0e7a19"})
    assert bare.status_code == 422
    assert Incident.objects.count() == 2


@pytest.mark.parametrize("name", ["job-lock-out", "job-re-energise", "job-hours"])
def test_the_desk_opens_no_pack(visit: Visit, name: str) -> None:
    assert pages.signed_in("desk").get(address(name, visit)).status_code == 403


def test_the_pages_ask_a_fixed_number_of_times(
    bench: Client, visit: Visit, django_assert_max_num_queries: Any
) -> None:
    for day in range(3):
        entry = {**body(key(visit)), "at": world.later(days=62 + day), "external_id": f"l{day}"}
        at = world.later(days=70)
        lock_outs.record_lock_out(by=world.actor(), at=at, entry=entry)
        done = {**ended(key(visit)), "at": world.later(days=62.5 + day)}
        re_energisings.record_re_energising(by=world.actor(), at=at, entry=done)
    with django_assert_max_num_queries(60):
        assert bench.get(address("job-lock-out", visit)).status_code == 200
