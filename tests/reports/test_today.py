"""Which cars are here, and which owners are to be called: what brings them on, what takes them off."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from packs.models import Consent, Equipment, LockOut, Pack, Visit
from packs.writes.visits import change_visit
from reports.reads import today
from reports.reads.today import Need, Today
from tests import world
from tests.reports import desk
from tests.reports.rejoined import job

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 9, 30, tzinfo=UTC)
DAY = timedelta(days=1)
VIENNA = ZoneInfo("Europe/Vienna")


def seen(at: datetime = NOW) -> Today:
    return today.gather(at=at, zone=VIENNA)


def reasons(at: datetime = NOW) -> list[tuple[str, str]]:
    return [(need.reason.value, need.pack.serial if need.pack else "") for need in seen(at).needs]


@pytest.fixture
def near() -> Pack:
    """A pack that came near its limit ten days ago."""
    pack = desk.pack_in(desk.car(1, desk.owner()), "TP-0001")
    desk.told(pack, "drifting", known_at=NOW - 100 * DAY)
    desk.told(pack, "near_limit", known_at=NOW - 10 * DAY)
    return pack


def test_a_pack_near_its_limit_is_called_until_its_owner_was_reached(near: Pack) -> None:
    assert reasons() == [("outlook", "TP-0001")]
    desk.call(near, NOW - 2 * DAY, outcome="not_reached")
    assert reasons() == [("outlook", "TP-0001")]
    desk.call(near, NOW - DAY)
    assert reasons() == []


def test_a_booked_day_is_waited_for_until_the_car_has_been_here_or_it_is_long_past(
    near: Pack,
) -> None:
    desk.call(near, NOW - 40 * DAY, outcome="booked")
    assert reasons() == []
    assert reasons(NOW + today.BOOKING_HOLDS) == [("outlook", "TP-0001")]
    desk.visit(None, near, NOW - 30 * DAY, state="closed")
    assert reasons() == [("outlook", "TP-0001")]


def test_a_booked_day_with_a_day_to_call_again_comes_back_on_it(near: Pack) -> None:
    desk.call(near, NOW - 40 * DAY, outcome="booked", again_on=date(2026, 11, 26))
    assert reasons() == []
    assert reasons(NOW + DAY) == [("outlook", "TP-0001")]


def test_one_check_over_the_limit_is_called_until_its_owner_was_reached() -> None:
    pack = world.pack("ONE")
    desk.told(pack, "too_little_data", spread_now_v=1.73, limit_v=1.1)
    desk.swap(pack, NOW - 40 * DAY)
    assert reasons() == [("outlook", "ONE")]
    desk.call(pack, NOW - DAY)
    assert reasons() == []


@pytest.mark.parametrize("waits_for", ["", "diagnosis", "parts", "owner", "collection"])
def test_a_ready_car_is_called_whatever_it_waits_for(waits_for: str) -> None:
    desk.visit(None, world.pack("R"), NOW - DAY, state="ready", waits_for=waits_for)
    assert reasons() == [("ready", "R")]


def test_a_call_from_before_the_level_began_does_not_count(near: Pack) -> None:
    desk.call(near, NOW - 11 * DAY)
    assert reasons() == [("outlook", "TP-0001")]


def test_a_level_that_grew_worse_is_a_new_reason(near: Pack) -> None:
    desk.call(near, NOW - 5 * DAY)
    assert reasons() == []
    desk.told(near, "over_limit", known_at=NOW - DAY)
    assert reasons() == [("outlook", "TP-0001")]


def test_a_level_that_only_eased_is_none(near: Pack) -> None:
    desk.told(near, "over_limit", known_at=NOW - 5 * DAY)
    desk.call(near, NOW - 4 * DAY)
    desk.told(near, "near_limit", known_at=NOW - DAY)
    assert reasons() == []


def test_a_call_asked_for_again_comes_back_on_its_day(near: Pack) -> None:
    desk.call(near, NOW - DAY, again_on=date(2026, 11, 27))
    assert reasons() == []
    assert reasons(NOW + 2 * DAY) == [("outlook", "TP-0001")]
    desk.call(near, NOW + 2 * DAY)
    assert reasons(NOW + 2 * DAY + timedelta(hours=1)) == []


def test_a_voided_call_was_none(near: Pack) -> None:
    desk.call(near, NOW - DAY, voided_at=NOW, void_reason="wrong pack")
    assert reasons() == [("outlook", "TP-0001")]


@pytest.mark.parametrize("level", ["settled", "drifting", "too_little_data"])
def test_a_milder_level_calls_nobody(near: Pack, level: str) -> None:
    desk.told(near, level, known_at=NOW - DAY)
    assert reasons() == []


def test_who_is_here_or_out_of_service_is_not_called_for_the_outlook(near: Pack) -> None:
    stay = desk.visit(None, near, NOW - DAY)
    assert reasons() == []
    Visit.objects.filter(pk=stay.pk).update(state="closed")
    assert reasons() == [("outlook", "TP-0001")]
    Pack.objects.filter(pk=near.pk).update(status="sold")
    assert reasons() == []


def test_over_the_limit_stands_before_near_it_and_the_likelier_first() -> None:
    for serial, level, chance in (
        ("A", "near_limit", 0.5),
        ("B", "over_limit", 0.2),
        ("C", "over_limit", 0.4),
    ):
        desk.told(world.pack(serial), level, p180=chance)
    assert [serial for _, serial in reasons()] == ["C", "B", "A"]


def test_more_than_fit_are_counted() -> None:
    for number in range(today.SHOWN_OF_EACH + 3):
        desk.told(world.pack(f"P-{number}"), "near_limit")
    found = seen()
    assert len(found.needs) == today.SHOWN_OF_EACH
    assert found.more["outlook"] == 3


def test_a_visit_that_waits_for_a_word_is_called_anew_each_time_it_waits() -> None:
    by = world.actor()
    pack = desk.pack_in(desk.car(), "TP-0001")
    stay = desk.visit(None, pack, NOW - 5 * DAY)
    assert reasons() == []
    for asked, spoken in ((4, 3), (2, 1)):
        version = Visit.objects.get(pk=stay.pk).version
        change_visit(
            stay, by=by, at=NOW - asked * DAY, version=version, changes={"waits_for": "owner"}
        )
        at = NOW - asked * DAY + timedelta(hours=2)
        assert reasons(at) == [("owner_word", "TP-0001")]
        desk.call(pack, NOW - spoken * DAY, "owner_word", visit=stay)
        assert reasons(NOW - spoken * DAY + timedelta(hours=1)) == []
        change_visit(
            stay, by=by, at=NOW - spoken * DAY + timedelta(hours=2), version=version + 1,
            changes={"waits_for": "parts"},
        )  # fmt: skip


def test_an_answer_about_extra_work_ends_the_waiting_and_one_at_intake_does_not() -> None:
    pack = desk.pack_in(desk.car(), "TP-0001")
    stay = desk.visit(None, pack, NOW - 2 * DAY, waits_for="owner")
    for about, left in (("intake", [("owner_word", "TP-0001")]), ("extra_work", [])):
        Consent.objects.create(
            visit=stay, pack=pack, about=about, given=False, how="telephone",
            happened_at=NOW - DAY, **world.posted(about.encode()),
        )  # fmt: skip
        assert reasons() == left


def test_a_call_about_something_else_or_an_earlier_visit_leaves_a_ready_car_on_the_list() -> None:
    pack = desk.pack_in(desk.car(), "TP-0001")
    stay = desk.visit(None, pack, NOW - DAY, state="ready")
    other = desk.visit(None, pack, NOW - 30 * DAY, state="closed")
    desk.call(pack, NOW, "owner_word", visit=stay)
    desk.call(pack, NOW, "ready", visit=other)
    assert reasons() == [("ready", "TP-0001")]
    desk.call(pack, NOW, "ready", visit=stay)
    assert reasons() == []


@pytest.mark.parametrize(
    ("done", "checked", "called"),
    [
        (20, None, False),  # not due yet
        (40, None, True),
        (40, 39, True),  # belongs to the release
        (40, 20, False),
        (400, None, False),  # the yearly check takes its place
    ],
)
def test_a_missed_check_after_a_repair(done: int, checked: int | None, *, called: bool) -> None:
    pack = desk.pack_in(desk.car(), "TP-0001")
    desk.swap(pack, NOW - done * DAY)
    if checked is not None:
        world.check(pack, taken_at=NOW - checked * DAY)
    desk.told(pack, "settled", known_at=NOW)
    assert reasons() == ([("recheck", "TP-0001")] if called else [])


def test_a_missed_check_is_off_the_list_when_spoken_of_or_when_the_pack_is_worse() -> None:
    pack = desk.pack_in(desk.car(), "TP-0001")
    desk.swap(pack, NOW - 40 * DAY)
    desk.call(pack, NOW - 50 * DAY, "recheck")
    assert reasons() == [("recheck", "TP-0001")]
    desk.told(pack, "near_limit", known_at=NOW - DAY)
    assert reasons() == [("outlook", "TP-0001")]
    desk.told(pack, "settled", known_at=NOW)
    desk.call(pack, NOW - DAY, "recheck", outcome="booked")
    assert reasons() == []


def test_only_the_last_repair_of_a_pack_is_asked_about() -> None:
    pack = desk.pack_in(desk.car(), "TP-0001")
    desk.swap(pack, NOW - 80 * DAY)
    desk.swap(pack, NOW - 10 * DAY)
    assert reasons() == []


def test_the_steps_of_a_reassembly_are_asked_about_once() -> None:
    pack = desk.pack_in(desk.car(), "TP-0001")
    steps = job(pack, (NOW - world.BEGUN).days - 40, 6)
    Pack.objects.filter(pk=pack.pk).update(since=steps[-1].happened_at)
    Visit.objects.update(state="closed")
    (need,) = seen().needs
    assert (need.reason.value, need.since) == ("recheck", steps[-1].happened_at)
    assert need.vehicle is not None


def test_a_new_pack_is_not_asked_about_as_if_it_was_repaired() -> None:
    pack = desk.pack_in(desk.car(), "TP-0001")
    Pack.objects.filter(pk=pack.pk).update(since=NOW - 40 * DAY)
    assert reasons() == []


def test_an_overdue_core_is_called_from_the_day_after() -> None:
    pack = desk.pack_in(desk.car(1, desk.owner()), "TP-0001")
    desk.core(pack, due_on=date(2026, 11, 25))
    assert reasons() == []
    found = seen(NOW + DAY)
    assert [need.reason.value for need in found.needs] == ["core"]
    assert [row.pack_id for row in found.cores] == [pack.pk]
    desk.call(pack, NOW + DAY, "core")
    found = seen(NOW + DAY)
    assert found.needs == ()
    assert len(found.cores) == 1


def test_a_day_begins_at_midnight_where_the_site_is_also_when_the_clocks_change() -> None:
    """The clocks of Vienna went back on 25 October 2026 at 01:00 UTC."""
    last_minute = datetime(2026, 10, 25, 22, 59, tzinfo=UTC)
    assert seen(last_minute).day == date(2026, 10, 25)
    assert seen(last_minute + timedelta(minutes=1)).day == date(2026, 10, 26)
    assert seen(datetime(2026, 10, 24, 22, 0, tzinfo=UTC)).day == date(2026, 10, 25)


def test_late_is_promised_before_now_and_not_ready() -> None:
    pack = desk.pack_in(desk.car(), "TP-0001")
    stay = desk.visit(None, pack, NOW - DAY, promised_at=NOW - timedelta(minutes=1))
    assert seen().stays[0].late(NOW)
    Visit.objects.filter(pk=stay.pk).update(promised_at=NOW + timedelta(minutes=1))
    assert not seen().stays[0].late(NOW)
    Visit.objects.filter(pk=stay.pk).update(promised_at=NOW - DAY, state="ready")
    assert not seen().stays[0].late(NOW)


def test_what_is_owed_is_not_told_as_present() -> None:
    pack = desk.pack_in(desk.car(), "TP-0001")
    desk.visit(None, pack, NOW - DAY)
    assert seen().stays[0].owed
    desk.told(pack, "settled")
    assert not seen().stays[0].owed
    world.check(pack, taken_at=NOW - DAY)
    assert seen().stays[0].owed


def test_a_pack_under_a_lock_out_lies_open_on_the_bench() -> None:
    pack = desk.pack_in(desk.car(), "TP-0001")
    stay = desk.visit(None, pack, NOW - DAY)
    assert not seen().stays[0].open
    tool = Equipment.objects.create(code="DMM-1", kind="meter", **world.posted(b"-"))
    volts = {"source_before_v": 12.0, "source_after_v": 12.0, "touch_limit_v": 50.0}
    LockOut.objects.create(
        visit=stay, pack=pack, revision=2, happened_at=NOW - DAY / 2, meter=tool, gloves=tool,
        switch_kept_by=world.person(), waited_min=10.0, highest_v=172.8, **volts,
        **world.posted(b"-"),
    )  # fmt: skip
    assert seen().stays[0].open


def test_as_many_queries_whatever_the_number_of_cars() -> None:
    def queries() -> int:
        with CaptureQueriesContext(
            connection,
        ) as asked:
            seen()
        return len(asked)

    def fill(first: int, last: int) -> None:
        for number in range(first, last):
            pack = desk.pack_in(desk.car(number, desk.owner()), f"V-{number}")
            desk.told(pack, "settled")
            desk.visit(None, pack, NOW - DAY, waits_for="owner", promised_at=NOW)
            far = desk.pack_in(desk.car(number + 100, desk.owner()), f"N-{number}")
            desk.told(far, "near_limit")
            desk.swap(desk.pack_in(desk.car(number + 200), f"S-{number}"), NOW - 40 * DAY)
            desk.core(desk.pack_in(desk.car(number + 300), f"C-{number}"), due_on=date(2026, 1, 1))

    fill(1, 2)
    few = queries()
    fill(2, 8)
    assert queries() == few
    assert few <= 17


def test_needs_come_in_the_order_in_which_they_press() -> None:
    desk.core(world.pack("C"), due_on=date(2026, 1, 1))
    desk.told(world.pack("N"), "near_limit")
    desk.visit(None, world.pack("R"), NOW - DAY, state="ready")
    desk.visit(None, world.pack("W"), NOW - DAY, waits_for="owner")
    desk.swap(world.pack("S"), NOW - 40 * DAY)
    found: tuple[Need, ...] = seen().needs
    assert [need.pack.serial for need in found if need.pack] == ["W", "R", "C", "N", "S"]


def test_cores_that_a_call_has_settled_hide_no_others() -> None:
    for number in range(today.SHOWN_OF_EACH + 2):
        pack = desk.pack_in(desk.car(number), f"C-{number:02d}")
        desk.core(pack, due_on=date(2026, 1, 1) + number * DAY)
        if number < today.SHOWN_OF_EACH:
            desk.call(pack, NOW - DAY, reason="core")
    assert reasons() == [("core", "C-20"), ("core", "C-21")]
    assert len(seen().cores) == today.SHOWN_OF_EACH


def test_calls_about_cores_beyond_the_page_are_counted() -> None:
    for number in range(today.SHOWN_OF_EACH + 3):
        pack = desk.pack_in(desk.car(number), f"C-{number:02d}")
        desk.core(pack, due_on=date(2026, 1, 1))
    found = seen()
    assert (len(found.needs), found.more[today.CORE_CALLS]) == (today.SHOWN_OF_EACH, 3)
    assert found.more["core"] == 3
