"""Matching against brute force, against the sorted window, and by what must be the same."""

from dataclasses import replace
from itertools import permutations

import numpy as np
import pytest

from packs.rules import closeness, eligibility, matching, matching_bounds
from packs.rules.closeness import Floats, Seats, Stock
from tests.packs.stocks import SMALL, by_masks, made, question


@pytest.mark.parametrize("seed", range(8))
def test_ten_of_fourteen_is_what_brute_force_finds(seed: int) -> None:
    asked = made(14, seed, (2,) * 5)
    found = matching.match(asked, SMALL)
    assert found.total == pytest.approx(by_masks(asked), rel=1e-9)
    assert found.bound <= found.total * (1 + 1e-12)


@pytest.mark.parametrize("blocks", [(2, 2), (1, 1, 1, 1), (3, 1), (2, 1, 1)])
def test_a_few_are_what_trying_every_order_finds(blocks: tuple[int, ...]) -> None:
    for seed in range(4):
        asked = made(6, seed, blocks)
        one = question(asked)
        least = min(
            closeness.total(one.stock, one.seats, np.array(order))
            for order in permutations(range(6), 4)
        )
        found = matching.match(asked, SMALL)
        assert found.total == pytest.approx(least, rel=1e-9)
        assert found.bound <= least * (1 + 1e-12)


@pytest.mark.parametrize("seed", range(4))
def test_what_stays_anchors_the_middle(seed: int) -> None:
    """Three of eight positions wanted, one of them alone in its block: every order is tried."""
    stay = np.full((8, 3), np.nan)
    stay[[0, 4, 5, 6, 7]] = np.random.default_rng(seed).normal([5.6, 26.0, 7.0], 0.2, (5, 3))
    asked = made(8, seed, (2,) * 4, positions=(2, 3, 4), stay=stay)
    one = question(asked)
    least = min(
        closeness.total(one.stock, one.seats, np.array(order))
        for order in permutations(range(8), 3)
    )
    found = matching.match(asked, SMALL)
    assert found.total == pytest.approx(least, rel=1e-9)
    free = matching.match(replace(asked, stay=np.full((8, 3), np.nan)), SMALL)
    anchored, loose = found.middle[0], free.middle[0]
    assert anchored is not None
    assert loose is not None
    assert abs(anchored - 5.6) < abs(loose - 5.6)


@pytest.mark.parametrize("seed", range(3))
def test_a_pack_out_of_a_large_stock_tells_its_gap(seed: int) -> None:
    asked = made(120, seed, (2,) * 7)
    found = matching.match(asked)
    window = question(asked)
    rule = closeness.total(window.stock, window.seats, matching.sorted_window(window))
    assert found.bound <= found.total <= rule
    assert found.gap < 0.01
    assert len({place.tag for place in found.places}) == 14


def test_the_bound_holds_for_any_placing() -> None:
    asked = made(40, 5, (2,) * 5)
    one, random = question(asked), np.random.default_rng(5)
    found = matching.match(asked)
    for _ in range(200):
        start = random.permutation(40)[:10]
        assert closeness.total(one.stock, one.seats, matching_bounds.improved(one, start)) >= (
            found.bound - 1e-9
        )


def differences(stock: Stock, seats: Seats, chosen: list[int]) -> tuple[Floats, Floats]:
    """Changes of the sum by replacing and by exchanging, each by summing anew."""
    here = closeness.total(stock, seats, np.array(chosen))
    count, size = len(stock.points), len(chosen)
    replaced = np.full((size, count), np.inf)
    exchanged = np.full((size, size), np.inf)
    for seat in range(size):
        for other in range(count):
            if other not in chosen:
                tried = [*chosen[:seat], other, *chosen[seat + 1 :]]
                replaced[seat, other] = closeness.total(stock, seats, np.array(tried)) - here
        for other in range(size):
            if seats.block[seat] != seats.block[other]:
                tried = list(chosen)
                tried[seat], tried[other] = tried[other], tried[seat]
                exchanged[seat, other] = closeness.total(stock, seats, np.array(tried)) - here
    return replaced, exchanged


def test_steps_change_the_sum_by_what_they_say() -> None:
    asked = made(12, 3, (2, 2, 3), positions=(1, 2, 3, 5, 7))
    asked.figures[4, 1] = asked.figures[7, 2] = np.nan
    asked.stay[3] = (5.5, 24.0, np.nan)
    one = question(asked)
    chosen = [4, 0, 7, 2, 9]
    replaced, exchanged = differences(one.stock, one.seats, chosen)
    np.testing.assert_allclose(
        closeness.replacing(one.stock, one.seats, np.array(chosen)), replaced, atol=1e-9
    )
    np.testing.assert_allclose(
        closeness.exchanging(one.stock, one.seats, np.array(chosen)), exchanged, atol=1e-9
    )


def test_the_strongest_lie_in_the_middle() -> None:
    asked = made(30, 2, (1,) * 7)
    found = matching.match(asked)
    strength = {
        place.position: float(
            -(np.array(place.off, dtype=float) / np.array(found.unit) * matching.STRONGER).sum()
        )
        for place in found.places
    }
    assert max(strength, key=strength.__getitem__) == 4
    assert {min(strength, key=strength.__getitem__)} <= {1, 7}
    turned = matching.match(replace(asked, heat=np.linspace(1.0, 0.0, 7)))
    assert turned.total == pytest.approx(found.total)
    hottest = {place.position: place.tag for place in found.places}[4]
    assert turned.places[0].tag == hottest


def test_a_stock_of_twins_is_matched_exactly() -> None:
    figures = np.repeat([[6.0, 22.0, 4.0], [5.6, 25.0, 6.0]], 6, axis=0)
    asked = made(12, 0, (2,) * 3, figures=figures, age_days=np.zeros(12))
    found = matching.match(asked, SMALL)
    assert found.total == pytest.approx(0.0, abs=1e-9)
    assert len({place.figures for place in found.places}) == 1


def test_old_tests_count_against_a_module() -> None:
    figures = np.tile([6.0, 22.0, 4.0], (6, 1))
    ages = np.array([800.0, 20.0, 30.0, 10.0, 900.0, 15.0])
    asked = made(6, 0, (2, 2), figures=figures, age_days=ages)
    found = matching.match(asked, SMALL)
    assert {place.tag for place in found.places} == {"S-001", "S-002", "S-003", "S-005"}
    assert [one.why for one in found.left_out] == [
        "its tests are 800 days old",
        "its tests are 900 days old",
    ]


def test_what_was_not_measured_is_kept_out_or_told() -> None:
    asked = made(8, 1, (2, 2), pass_marks={})
    asked.figures[:3, 2] = np.nan
    asked.figures[0, 0] = np.nan
    kept, told = eligibility.eligible(asked, keep_unmeasured=False)
    assert kept.tags == asked.tags[3:]
    assert told[0].why == "no test says its capacity or self-discharge"
    assert [one.tag for one in told] == ["S-000", "S-001", "S-002"]
    every, none = eligibility.eligible(asked, keep_unmeasured=True)
    assert (every.tags, none) == (asked.tags, ())
    five = replace(
        asked, tags=asked.tags[:5], figures=asked.figures[:5], age_days=asked.age_days[:5]
    )
    with_them = matching.match(five, SMALL)
    assert any("self-discharge not measured" in place.why for place in with_them.places)


def test_what_misses_a_mark_is_kept_out_tested_or_not() -> None:
    asked = made(6, 1, (2, 2))
    asked.figures[:] = (6.0, 22.0, 4.0)
    asked.figures[1, 0], asked.figures[2, 1], asked.figures[3, 2] = 5.45, 30.0, 8.1
    asked.figures[1, 2] = np.nan
    kept, told = eligibility.eligible(asked, keep_unmeasured=True)
    assert kept.tags == ("S-000", "S-002", "S-004", "S-005")
    assert [one.why for one in told] == [
        "capacity 5.45 Ah is below the pass mark of 5.5 Ah",
        "self-discharge 8.1 mV a day is above the pass mark of 8 mV a day",
    ]


def test_each_says_why() -> None:
    asked = made(60, 7, (2,) * 4)
    found = matching.match(asked)
    for place in found.places:
        assert place.why.endswith("days old")
        assert "Ah (" in place.why
    assert found.left_out
    assert all(one.more is not None and one.more >= -1e-9 for one in found.left_out)
    assert len(found.left_out) == matching.NEAREST


def test_too_few_is_said() -> None:
    with pytest.raises(matching.TooFewError, match="3 candidates for 4 positions"):
        matching.match(made(3, 0, (2, 2)))


def test_a_placing_of_ones_own_is_rated_alike() -> None:
    asked = made(20, 4, (2,) * 3)
    found = matching.match(asked)
    same = matching.rated(asked, [place.tag for place in found.places])
    assert same.total == pytest.approx(found.total)
    assert same.places == found.places
    other = matching.rated(
        asked, [*(place.tag for place in found.places[:-1]), found.left_out[0].tag]
    )
    assert other.total > found.total
