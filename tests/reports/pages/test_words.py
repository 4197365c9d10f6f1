"""How probabilities, levels and dates are said."""

from datetime import date

import pytest

from reports.models import Outlook
from reports.pages import words
from tests import world

LEVELS = [level for level in Outlook.Level.values if level != "too_little_data"]


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
        (0.31, "about 3 in 10", "31 %"),
        (0.949, "about 9 in 10", "95 %"),
        (0.96, "nearly all", "96 %"),
        (1.0, "nearly all", "over 99 %"),
    ],
)
def test_a_probability_is_said_twice(share: float, said: str, figure: str) -> None:
    assert words.frequency(share) == said
    assert words.percent(share).replace(words.NBSP, " ") == figure


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
    said = words.for_owner(outlook(level=level))
    assert words.LEVELS[level].word.lower() in said
    assert "About 3 in 10 like this one fail within half a year" in said
    assert "!" not in said


@pytest.mark.parametrize(("checks", "seen"), [(0, "no check"), (1, "only one check")])
def test_too_little_data_claims_nothing_of_this_pack(checks: int, seen: str) -> None:
    little = outlook(level="too_little_data", checks_used=checks, spread_now_v=None)
    said = words.for_owner(little)
    assert f"there is {seen} to go by" in said
    assert "Of packs of this kind in general" in said
    assert "like this one" not in said
    settle = words.would_settle(little)
    assert settle is not None
    assert f"20{words.NBSP}A" in settle


def test_the_bench_hears_spread_limit_growth_and_the_days() -> None:
    said = words.for_bench(outlook(), None).replace(words.NBSP, " ")
    assert "0.62 V under load at 20 A, limit 1.20 V, and growing 35 % a year." in said
    assert "around February 2025" in said
    assert "between 20 April 2024 and some day beyond twenty years" in said


@pytest.mark.parametrize(
    ("growth", "said"),
    [(-0.1, "shrinking"), (0.0, "not growing"), (0.05, "as a year's use may bring")],
)
def test_growth_is_told_for_what_it_is(growth: float, said: str) -> None:
    assert said in words.for_bench(outlook(growth_per_year=growth), None)


def test_a_limit_that_is_passed_or_far_is_not_foretold() -> None:
    passed = dict.fromkeys(("p10", "p50", "p90"), "2024-02-20")
    over = words.for_bench(outlook(level="over_limit", limit_reached_on=passed), None)
    assert "Over it since 20 February 2024." in over
    far = words.for_bench(outlook(level="settled", limit_reached_on=None), None)
    assert "not reached for years" in far


def test_a_limit_passed_by_the_trend_alone_asks_for_a_measurement() -> None:
    said = words.for_bench(outlook(level="near_limit", spread_now_v=1.3), None)
    assert "By the trend it has passed the limit since its last check" in said
    assert "most likely reached" not in said


def test_far_days_are_told_by_the_month() -> None:
    now = date(2024, 3, 1)
    assert words.rough(date(2024, 5, 30), now) == "30 May 2024"
    assert words.rough(date(2024, 5, 31), now) == "May 2024"
