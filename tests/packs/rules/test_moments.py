"""Dates and times as files write them."""

from datetime import UTC, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import pytest

from packs.rules.moments import Unclear, order_of, read_instant, read_parts, storable

VIENNA = ZoneInfo("Europe/Vienna")
NINE = datetime(2026, 3, 5, 9, 30, tzinfo=UTC)


@pytest.mark.parametrize(
    "text",
    [
        "2026-03-05T10:30",
        "2026-03-05 10:30:00",
        "2026-03-05T10:30:00.000",
        "2026-03-05T09:30:00Z",
        "2026-03-05T09:30:00+00:00",
        "2026-03-05T04:30:00-0500",
        "2026/3/5 10:30",
        "20260305T103000",
        "2026-03-05 10:30 am",
        "1772703000",
        "1772703000.0",
        "1772703000000",
    ],
)
def test_what_means_one_instant_is_read(text: str) -> None:
    assert read_instant(text, dates="iso", zone=VIENNA) == NINE


@pytest.mark.parametrize(
    ("text", "dates"),
    [
        ("5.3.2026 10:30", "day_month"),
        ("05/03/26 10:30:00", "day_month"),
        ("3/5/2026 10:30 AM", "month_day"),
        ("3-5-2026 10:30", "month_day"),
    ],
)
def test_the_setting_says_what_comes_first(text: str, dates: str) -> None:
    assert read_instant(text, dates=dates, zone=VIENNA) == NINE


@pytest.mark.parametrize("text", ["5.3.2026 10:30", "25/3/2026 10:30", "3-5-2026 10:30"])
def test_without_it_the_error_names_the_setting(text: str) -> None:
    with pytest.raises(Unclear, match="setting dates") as unclear:
        read_instant(text, dates="iso", zone=VIENNA)
    assert unclear.value.wrong.code == "ambiguous_date"


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("2026-03-05", "no_time"),
        ("soon", "not_a_date"),
        ("2026-02-30 10:00", "not_a_date"),
        ("2026-03-05 25:00", "not_a_time"),
        ("2026-03-05 half past ten", "not_a_time"),
        ("2026-03-29 02:30", "no_such_instant"),
        ("1.1." * 50_000, "not_a_date"),
        ("2026-03-05 10:00" + " " * 50_000 + "x", "not_a_date"),
        ("", "not_a_date"),
    ],
)
def test_what_is_no_instant_is_told(text: str, code: str) -> None:
    with pytest.raises(Unclear) as unclear:
        read_instant(text, dates="iso", zone=VIENNA)
    assert unclear.value.wrong.code == code


def test_seconds_since_1970_that_are_beyond_counting() -> None:
    with pytest.raises(Unclear):
        read_instant("9" * 40, dates="iso", zone=VIENNA)


def test_a_date_and_a_time_apart() -> None:
    assert read_parts("5.3.2026", "10:30", dates="day_month", zone=VIENNA) == NINE
    noon = read_parts("2026-03-05", "12:05:09,5 PM", dates="iso", zone=VIENNA)
    assert noon.isoformat() == "2026-03-05T12:05:09.500000+01:00"


@pytest.mark.parametrize(
    ("texts", "order"),
    [
        (["2026-03-05 10:00"], "iso"),
        (["5.3.2026 10:00", "25.3.2026"], "day_month"),
        (["3/5/2026", "3/25/2026"], "month_day"),
        (["3/5/2026"], None),
        (["13/5/2026", "5/13/2026"], None),
    ],
)
def test_the_order_is_guessed_only_where_it_is_plain(texts: list[str], order: str | None) -> None:
    assert order_of(texts) == order


@pytest.mark.parametrize(("hours", "kept"), [(-16, False), (-12, True), (14, True), (23.98, False)])
def test_an_offset_larger_than_postgresql_reads_becomes_utc(hours: float, kept: bool) -> None:
    told = NINE.astimezone(timezone(timedelta(hours=hours)))
    assert storable(told) == told
    assert (storable(told).utcoffset() == told.utcoffset()) is kept
