"""How probabilities, levels and dates are said."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from reports.models import Outlook
from reports.pages import figures, words
from reports.reads import pack_page
from reports.reads.pack_page import Bench, Reading, Seat, Trail
from tests import world
from tests.reports.pages.conftest import Told

LEVELS = [level for level in Outlook.Level.values if level != "too_little_data"]

NOW = world.later()
TODAY = (NOW - figures.EPOCH) / timedelta(days=1)
TRAIL = Trail(
    level="block",
    condition="load",
    read=(Reading(TODAY - 200, 0.5, 0), Reading(TODAY - 20, 0.62, 0)),
    beside=(),
    change_days=(),
    limit_v=1.2,
    floor_v=0.03,
)


def read(*spreads_v: float, ago: float = 20) -> Trail:
    """A trail of one build whose last check is so many days old."""
    days = [TODAY - ago - 100 * back for back in range(len(spreads_v))][::-1]
    rows = zip(days, spreads_v, strict=True)
    return replace(TRAIL, read=tuple(Reading(day, spread, 0) for day, spread in rows))


def owner(told: Outlook, trail: Trail = TRAIL) -> str:
    return words.for_owner(told, trail, at=NOW).replace(figures.NBSP, " ")


def bench(told: Outlook, trail: Trail = TRAIL) -> str:
    """What the technician hears, with what stands in small beneath."""
    said = f"{words.for_bench(told, trail, None, at=NOW)} {words.pace(told, trail, at=NOW)}"
    return said.replace(figures.NBSP, " ")


def outlook(**changes: object) -> Outlook:
    said = {
        "level": "drifting",
        "as_of": world.later(),
        "spread_now_v": 0.62,
        "limit_v": 1.2,
        "reference_load_a": 20.0,
        "growth_per_year": 0.35,
        "p30": 0.004,
        "p90": 0.06,
        "p180": 0.31,
        "p365": 0.97,
        "limit_reached_on": {"p10": "2024-04-20", "p50": "2025-02-01", "p90": None},
        "checks_used": 5,
        "series": "load/block",
        **changes,
    }
    return Outlook(**said)


@pytest.mark.parametrize(
    ("share", "said", "figure"),
    [
        (0.0, "fewer than 1 in 100", "under 1 %"),
        (0.0099, "fewer than 1 in 100", "under 1 %"),
        (0.04, "about 4 in 100", "4 %"),
        (0.094, "about 9 in 100", "9 %"),
        (0.095, "about 1 in 10", "10 %"),
        (0.11, "about 1 in 10", "11 %"),
        (0.15, "about 1 in 7", "15 %"),
        (0.25, "about 1 in 4", "25 %"),
        (0.31, "about 3 in 10", "31 %"),
        (0.45, "nearly half", "45 %"),
        (0.52, "about half", "52 %"),
        (0.949, "about 9 in 10", "95 %"),
        (0.96, "nearly all", "96 %"),
        (1.0, "nearly all", "over 99 %"),
    ],
)
def test_a_probability_is_said_twice(share: float, said: str, figure: str) -> None:
    assert figures.frequency(share) == said
    assert figures.percent(share).replace(figures.NBSP, " ") == figure


def test_each_horizon_has_its_words() -> None:
    told = [(chance.within, chance.words) for chance in words.chances(outlook())]
    assert told == [
        ("a month", "fewer than 1 in 100"),
        ("three months", "about 6 in 100"),
        ("half a year", "about 3 in 10"),
        ("a year", "nearly all"),
    ]


def test_every_level_has_a_word_and_a_shape_of_its_own() -> None:
    assert set(words.LEVELS) == set(Outlook.Level.values)
    assert len({level.shape for level in words.LEVELS.values()}) == len(words.LEVELS)
    assert len({level.word for level in words.LEVELS.values()}) == len(words.LEVELS)


@pytest.mark.parametrize("level", LEVELS)
def test_the_owner_hears_the_level_and_the_chance(level: str) -> None:
    said = owner(outlook(level=level))
    assert words.LEVELS[level].word.lower() in said
    assert "About 3 in 10 like this one fail within half a year" in said
    assert "!" not in said


@pytest.mark.parametrize(("checks", "seen"), [(0, "no check"), (1, "only one check")])
def test_too_little_data_claims_nothing_of_this_pack(checks: int, seen: str) -> None:
    little = outlook(level="too_little_data", checks_used=checks, spread_now_v=None)
    said = owner(little)
    assert f"there is {seen} to go by" in said
    assert "Of packs of this kind in general" in said
    assert "like this one" not in said


def test_the_bench_hears_spread_limit_growth_and_the_days() -> None:
    said = bench(outlook())
    assert "0.62 V under load at 20 A, limit 1.20 V. It grows 35 % a year." in said
    assert "around February 2025" in said
    assert "likely range (8 in 10) 20 Apr 2024 to some day beyond twenty years" in said


@pytest.mark.parametrize(
    ("growth", "said"),
    [(-0.1, "shrinking"), (0.0, "not growing"), (0.05, "as a year's use may bring")],
)
def test_growth_is_told_for_what_it_is(growth: float, said: str) -> None:
    assert said in bench(outlook(growth_per_year=growth))


def test_a_limit_that_is_passed_or_far_is_not_foretold() -> None:
    passed = dict.fromkeys(("p10", "p50", "p90"), "2024-02-20")
    over = bench(outlook(level="over_limit", limit_reached_on=passed))
    assert "Over the limit since about 20 Feb 2024." in over
    far = bench(outlook(level="settled", limit_reached_on=None))
    assert "not reached for years" in far


def test_a_limit_passed_by_the_trend_alone_asks_for_a_measurement() -> None:
    said = bench(outlook(level="near_limit", spread_now_v=1.3))
    assert "By its trend it is probably there already; no check has shown it yet." in said
    assert "most likely reached" not in said


def test_far_days_are_told_by_the_month() -> None:
    now = date(2024, 3, 1)
    assert figures.rough(date(2024, 5, 30), now) == "30 May 2024"
    assert figures.rough(date(2024, 5, 31), now) == "May 2024"


def test_a_fraction_never_says_much_less_than_the_chance() -> None:
    worth = {said: share for share, said in figures.FRACTIONS}
    for share in (step / 1000 for step in range(95, 950)):
        assert worth[figures.frequency(share)] >= 0.9 * share - 1e-9


def test_an_old_check_is_told_as_what_it_was_and_foretells_nothing() -> None:
    said = bench(outlook(level="near_limit", spread_now_v=1.4), read(0.6, 0.8, ago=900))
    assert "Spread 0.80 V under load at 20 A at the last check, 13 Sep 2021" in said
    assert "It may be over the limit by now; check before saying more." in said
    assert "now about" not in said
    assert "reached" not in said
    assert "may have grown since" in bench(outlook(), read(0.3, 0.4, ago=900))
    heard = owner(outlook(level="settled"), read(0.3, 0.4, ago=900))
    assert "from September 2021, too long ago" in heard
    assert "keep together" not in heard
    assert words.by_old_trend(outlook(), read(0.3, 0.4, ago=900), at=NOW)
    assert not words.by_old_trend(outlook(), read(0.3, 0.4, ago=300), at=NOW)
    assert not words.by_old_trend(outlook(level="over_limit"), read(0.3, 1.4, ago=900), at=NOW)


def test_a_day_to_come_is_not_told_where_the_trend_is_there() -> None:
    today = NOW.date().isoformat()
    there = {"p10": today, "p50": today, "p90": "2025-01-01"}
    said = bench(outlook(level="near_limit", limit_reached_on=there))
    assert "probably there already" in said
    assert "2025" not in said
    some = bench(outlook(limit_reached_on={**there, "p50": "2024-05-01"}))
    assert "likely range (8 in 10) now to January 2025" in some


def test_growth_that_no_check_shows_is_only_expected() -> None:
    said = bench(outlook(growth_per_year=0.16), read(0.60, 0.61))
    assert "expected to grow about 16 % a year, as packs of this kind do" in said
    assert "its own checks show no growth yet" in said


def test_one_check_near_the_limit_or_old_says_so() -> None:
    one = outlook(level="too_little_data", checks_used=1, spread_now_v=1.1, growth_per_year=None)
    assert "at the one check, 10 Feb 2024; limit 1.20 V. That is near" in bench(one, read(1.1))
    assert "check before saying more" in bench(one, read(1.1, ago=900))
    assert "only one check to go by, from September 2021, over a year ago" in owner(
        one, read(1.1, ago=900)
    )


def test_a_weakest_block_is_named_with_its_modules() -> None:
    seats = tuple(
        Seat(place + 1, 2 * place, 2 * place + 2, place + 1, -0.1 if place == 6 else 0.0, (),
             turned=False, renewed_day=None)
        for place in range(14)
    )  # fmt: skip
    lying = Bench("block", "load", TODAY, True, 28, (2,) * 14, seats, ())
    said = words.for_bench(outlook(), TRAIL, lying, at=NOW)
    assert said.endswith(
        f"1.20{figures.NBSP}V; block 7 (modules 13–14) is weakest, "
        f"0.10{figures.NBSP}V below the middle on 1 Mar 2024."
    )
    told = words.reasons(outlook(reasons=["Block 7 is weakest: 0.100 V below."]), lying)
    assert told == ["Block 7 (modules 13–14) is weakest: 0.100 V below."]


def test_what_the_trend_added_since_the_last_check_is_told_beside_what_that_read() -> None:
    said = bench(outlook(spread_now_v=0.70))
    assert "now about 0.70 V under load at 20 A (0.62 V at the check of 10 Feb 2024)" in said
    assert "at the check of" not in bench(outlook())


@pytest.mark.parametrize(
    ("level", "said"),
    [
        ("settled", "half a year; come back by 9 Jun 2024."),
        ("drifting", "half a year; come back by 9 Jun 2024, and do not wait for a warning light."),
        ("too_little_data", "half a year; come back by 9 Jun 2024."),
    ],
)
def test_the_owner_hears_the_day(level: str, said: str) -> None:
    heard = words.for_owner(outlook(level=level), TRAIL, at=NOW, again="come back by 9 Jun 2024")
    assert heard.endswith(said)


def test_a_trend_below_the_limit_does_not_hide_a_check_over_it() -> None:
    said = bench(outlook(level="over_limit", spread_now_v=0.9), read(0.6, 1.3, ago=5))
    assert "Spread 1.30 V under load at 20 A at the last check" in said
    assert "That is over the limit." in said
    assert "now about" not in said


def test_one_check_over_the_limit_is_told_to_the_owner() -> None:
    said = owner(outlook(level="too_little_data", checks_used=1), read(1.3, ago=5))
    assert "over the limit of its type at its one check" in said
    assert "too early" not in said


def test_more_than_one_figure_of_a_check_is_explained_and_one_is_not(told: Told) -> None:
    pack = told("settled")
    page = pack_page.gather(pack, at=world.later(110))
    outlook, last = Outlook.objects.get(), page.trail.last
    assert last is not None
    outlook.spread_now_v = last.spread_v + 0.1
    said = words.figures(outlook, page, at=world.later(110))
    assert said.endswith(
        f"{figures.volts(last.spread_v)} as read, {figures.volts(outlook.spread_now_v)} by the trend now."
    )
    outlook.spread_now_v = last.spread_v
    assert words.figures(outlook, page, at=world.later(110)) == ""
