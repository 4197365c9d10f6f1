"""The desk's morning page: its sentence, its cars, and its calls, for each role."""

import re
from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from packs.models import Consent, Pack, Site, Visit
from packs.rules.identity import encode
from reports.pages import counting
from tests import world
from tests.pages import inline, signed_in, text, words
from tests.reports import desk

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 9, 30, tzinfo=UTC)
DAY = timedelta(days=1)


@pytest.fixture(autouse=True)
def _clock(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(timezone, "now", lambda: NOW)


@pytest.fixture
def browser() -> Client:
    return signed_in("desk")


def stay(number: int = 1, level: str = "settled", **changes: object) -> Visit:
    pack = desk.pack_in(desk.car(number, desk.owner()), f"TP-{number:04d}")
    desk.told(pack, level)
    return desk.visit(None, pack, NOW - 2 * DAY, **changes)


def test_an_empty_day_says_so(browser: Client) -> None:
    read = words(text(browser, "/today/"))
    assert "No cars are here; no owners to call." in read
    assert "No visit is open." in read
    assert "Nobody needs a call." in read


def test_the_answer_comes_first_in_a_sentence(browser: Client) -> None:
    stay(1, promised_at=NOW - timedelta(hours=2))
    stay(2, promised_at=NOW + timedelta(hours=2))
    stay(3, state="ready")
    stay(4, waits_for="owner")
    desk.visit(None, world.pack("BARE"), NOW - DAY)
    read = words(text(browser, "/today/"))
    assert (
        "Four cars and one pack without a car are here, one is late, one is promised for today, "
        "one is ready to be collected, one waits for the owner’s word; two owners to call." in read
    )
    assert read.index("Four cars") < read.index("Cars in the shop") < read.index("Calls to make")


def test_the_late_stand_first_and_are_told_by_word_and_shape(browser: Client) -> None:
    stay(1)
    stay(2, promised_at=NOW + 3 * DAY)
    stay(3, promised_at=NOW + timedelta(hours=3))
    stay(4, promised_at=NOW - timedelta(hours=26))
    stay(5, promised_at=NOW - timedelta(hours=1), state="ready")
    page = text(browser, "/today/")
    board = page[page.index('<table class="board">') :]
    plates = re.findall(r'<th scope="row"><a[^>]+>([^<]+)<', board)
    assert plates == ["W-4 X", "W-3 X", "W-2 X", "W-5 X", "W-1 X"]
    assert board.count('class="flag"') == 1
    assert re.search(r'class="flag".*?</svg>late', board, re.DOTALL)
    assert "W-4 X was promised for yesterday, 07:30, one day ago" in words(page)
    assert inline(page) == []


def test_a_car_is_told_with_its_pack_level_complaint_and_what_it_waits_for(
    browser: Client,
) -> None:
    row = stay(1, "near_limit", waits_for="road_test", complaint="limps uphill")
    page = text(browser, "/today/")
    read = words(page)
    for part in ("W-1 X", "TP-0001", "Near the limit", "limps uphill", "a road test", "two days"):
        assert part in read
    assert 'class="shape near"' in page
    assert f'href="/visits/{encode(Visit.PREFIX, row.pk)}/"' in page


def test_a_word_that_was_given_is_told_so(browser: Client) -> None:
    row = stay(1, waits_for="owner")
    Consent.objects.create(
        visit=row, pack=row.pack, about="extra_work", given=True, how="mail",
        happened_at=NOW - DAY, **world.posted(b"word"),
    )  # fmt: skip
    read = words(text(browser, "/today/"))
    assert "One car is here; no owners to call." in read
    assert "the owner’s word an answer is recorded" in read


def test_a_level_that_is_owed_is_not_shown(browser: Client) -> None:
    row = stay(1, "near_limit")
    assert row.pack is not None
    world.check(row.pack, taken_at=NOW - DAY)
    page = text(browser, "/today/")
    assert "being worked out" in words(page)
    assert 'class="shape near"' not in page


def test_the_page_works_out_no_outlook(browser: Client) -> None:
    row = stay(1, "settled")
    assert row.pack is not None
    world.check(row.pack, taken_at=NOW - DAY)
    before = world.contents()
    text(browser, "/today/")
    assert world.contents() == before


def test_a_closed_visit_is_gone(browser: Client) -> None:
    stay(1, state="closed")
    assert "W-1 X" not in text(browser, "/today/")


def test_a_call_tells_whom_why_and_what_was_tried(browser: Client) -> None:
    row = stay(1, waits_for="owner")
    assert row.pack is not None
    desk.call(
        row.pack, NOW - DAY, "owner_word", visit=row, outcome="not_reached", again_on=NOW.date()
    )
    page = text(browser, "/today/")
    read = words(page)
    assert "Rosalind Marsh 0660 123" in read
    assert 'href="tel:0660 123"' in page
    assert "The work waits for the owner’s word" in read
    assert "Called yesterday: not reached; asked to be called again today." in read
    visit = encode(Visit.PREFIX, row.pk)
    assert f'href="/calls/new/?pack=TP-0001&amp;reason=owner_word&amp;visit={visit}"' in page


def test_each_reason_has_its_sentence(browser: Client) -> None:
    desk.told(desk.pack_in(desk.car(1), "NEAR"), "near_limit")
    desk.told(desk.pack_in(desk.car(2), "OVER"), "over_limit")
    desk.told(desk.pack_in(desk.car(3), "PAST"), "near_limit", spread_now_v=1.3)
    desk.told(desk.pack_in(desk.car(7), "ONE"), "too_little_data", spread_now_v=1.73, limit_v=1.1)
    desk.swap(desk.pack_in(desk.car(4), "SWAP"), NOW - 40 * DAY)
    desk.core(desk.pack_in(desk.car(5), "CORE"), due_on=date(2026, 11, 12))
    stay(6, state="ready")
    read = words(text(browser, "/today/"))
    for sentence in (
        "One check over the limit, and no other to compare: 1.73 V against 1.10 V; to be",
        "Near the limit of its type: about 3 in 10 like this one fail within half a year.",
        "Over the limit of its type: about 3 in 10 like this one fail within half a year.",
        "By its trend probably over the limit of its type, which no check has shown yet: about 3",
        "Modules or joints were changed on 16 Oct 2026; the check about a month or 1 000 km later",
        "The old pack was due back on 12 Nov 2026; a deposit of 350.00 is held.",
        "The car is ready to be collected since 23 Nov 2026.",
        "CORE was due back on 12 Nov 2026, 13 days ago; deposit 350.00",
    ):
        assert sentence in read
    assert "Owner not recorded" in read


def test_the_bench_sees_the_cars_and_nobody(browser: Client) -> None:
    stay(1, waits_for="owner")
    page = text(signed_in("bench"), "/today/")
    read = words(page)
    assert "One car is here, one waits for the owner’s word." in read
    assert "W-1 X" in read
    for hidden in ("Marsh", "0660", "Calls to make", "/calls/new/"):
        assert hidden not in page
    assert "Marsh" in text(signed_in("manager"), "/today/")


def test_a_machine_has_no_page_and_a_stranger_signs_in_first() -> None:
    assert signed_in("machine").get("/today/").status_code == 403
    assert Client().get("/today/").headers["Location"].startswith("/sign-in/")


def test_today_is_the_day_of_the_site(browser: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    """In Auckland the 26th has begun when it is half past three in the afternoon in London."""
    evening = NOW + timedelta(hours=6)
    monkeypatch.setattr(timezone, "now", lambda: evening)
    stay(1, promised_at=evening + timedelta(hours=9))
    read = words(text(browser, "/today/"))
    assert "25 Nov 2026" in read
    assert "tomorrow, 00:30" in read
    Site.objects.create(
        code="akl", name="Auckland", time_zone="Pacific/Auckland", **world.posted(b"")
    )
    read = words(text(browser, "/today/"))
    assert "26 Nov 2026" in read
    assert "one is promised for today" in read


def test_as_many_queries_for_twenty_cars_as_for_one(browser: Client) -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as asked:
            text(browser, "/today/")
        return len(asked)

    stay(1, waits_for="owner")
    few = queries()
    for number in range(2, 21):
        stay(number, waits_for="owner", promised_at=NOW)
    assert queries() == few


def test_visits_beyond_the_page_are_counted(
    browser: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("reports.reads.today.STAYS_MAX", 2)
    for number in range(1, 5):
        stay(number)
    read = words(text(browser, "/today/"))
    assert "Four cars are here" in read
    assert "2 older visits without a promised day are still open" in read


def test_more_calls_than_fit_lead_to_the_fleet(
    browser: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("reports.reads.today.SHOWN_OF_EACH", 2)
    for number in range(5):
        desk.told(world.pack(f"P-{number}"), "near_limit")
    page = text(browser, "/today/")
    assert "five calls to make." in words(page)
    assert "3 more by their outlook" in words(page)
    assert 'href="/packs/?level=near_limit"' in page


@pytest.mark.parametrize(
    ("count", "said"), [(0, "no cars"), (1, "one car"), (12, "twelve cars"), (13, "13 cars")]
)
def test_few_are_said_in_words(count: int, said: str) -> None:
    assert counting.counted(count, "car") == said


@pytest.mark.parametrize(
    ("ago", "said"),
    [
        (timedelta(minutes=1), "one minute"),
        (timedelta(minutes=59), "59 minutes"),
        (timedelta(hours=23, minutes=59), "23 hours"),
        (timedelta(hours=49), "two days"),
    ],
)
def test_how_late_it_is(ago: timedelta, said: str) -> None:
    assert counting.overdue_by(NOW - ago, NOW) == said


def test_a_pack_that_left_service_is_not_called(browser: Client) -> None:
    pack = desk.pack_in(desk.car(1, desk.owner()), "TP-1")
    desk.told(pack, "over_limit")
    assert "Marsh" in text(browser, "/today/")
    Pack.objects.filter(pk=pack.pk).update(status="scrapped")
    assert "Marsh" not in text(browser, "/today/")


def test_a_call_from_before_the_level_eased_says_so(browser: Client) -> None:
    pack = desk.pack_in(desk.car(1), "TP-0001")
    desk.told(pack, "drifting", known_at=NOW - 100 * DAY)
    desk.told(pack, "near_limit", known_at=NOW - 10 * DAY)
    desk.call(pack, NOW - 40 * DAY)
    read = words(text(browser, "/today/"))
    assert "The last call, 16 Oct 2026, was before the pack came to this: reached then." in read
