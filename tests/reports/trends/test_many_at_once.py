"""Many packs at once say what each says alone, and what is kept or merged says it exactly."""

from dataclasses import fields, replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reports.trends import descent, failures, fleet, mixed, statistics
from reports.trends.histories import Histories, together
from reports.trends.history import Floats, PackHistory
from reports.trends.outlook import judge, judge_all
from reports.trends.statistics import Statistics
from tests.reports.trends.shop_of_packs import Nature, packs
from tests.reports.trends.test_any_history import histories

LATE = 30_000.0


def repaired(count: int) -> list[PackHistory]:
    """Drifting packs, two in three with a change of some or all positions."""
    rng = np.random.default_rng(17)
    made = []
    for number, pack in enumerate(packs(range(count), Nature(growth=2.0))):
        changes = number % 3
        days = np.sort(rng.uniform(pack.entry_day, pack.contact_day, changes))
        renewed = rng.random((changes, pack.positions)) < rng.choice([0.1, 0.5, 1.1])
        group = "MADE-UP/load/block" if number % 5 else "OTHER/load/block"
        made.append(replace(pack, renewal_days=days, renewed=renewed, group=group))
    return made


PACKS = repaired(60)


def same(one: Statistics, other: Statistics) -> bool:
    return all(
        np.array_equal(getattr(one, each.name), getattr(other, each.name)) for each in fields(one)
    )


@pytest.mark.parametrize("before_days", [0.0, 300.0, 800.0])
def test_an_outlook_is_the_same_alone_and_among_others(before_days: float) -> None:
    made = fleet.fit(PACKS, through_day=LATE)
    days = np.array([pack.contact_day - before_days for pack in PACKS])
    many = judge_all(together(PACKS), made, as_of_day=days)
    alone = [judge(pack, made, as_of_day=day) for pack, day in zip(PACKS, days, strict=True)]
    assert many == alone
    assert len({each.level for each in many}) >= 3
    assert any(each.limit_reached_days is None for each in many)


@settings(max_examples=50, deadline=None)
@given(st.lists(histories(), min_size=1, max_size=5))
def test_it_is_so_for_any_histories(some: list[PackHistory]) -> None:
    days = np.array([pack.contact_day for pack in some])
    many = judge_all(together(some), fleet.PRIOR, as_of_day=days)
    for pack, told, day in zip(some, many, days, strict=True):
        assert told == judge(pack, fleet.PRIOR, as_of_day=float(day))


def test_one_of_many_is_what_it_was() -> None:
    many = together(PACKS)
    for place in (0, 1, 2, 59):
        one, was = many.one(place), PACKS[place]
        for each in fields(PackHistory):
            np.testing.assert_array_equal(getattr(one, each.name), getattr(was, each.name))


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"spread_v": np.array([np.nan])}, "unknown or below zero"),
        ({"limit_v": np.array([0.0])}, "not above zero"),
        ({"positions": np.array([0])}, "at least one position"),
    ],
)
def test_what_no_pack_can_be_is_refused(change: dict[str, Any], told: str) -> None:
    many = together(PACKS[:1])
    kept = {each.name: getattr(many, each.name) for each in fields(many)}
    with pytest.raises(ValueError, match=told):
        Histories(**(kept | change))


def test_sums_are_gathered_alone_as_among_others() -> None:
    whole = fleet.gather(together(PACKS))
    parts = [fleet.gather(together([pack], [key])) for key, pack in enumerate(PACKS)]
    assert same(statistics.merge(reversed(parts)), whole)


def test_what_is_kept_of_each_pack_comes_back_exactly() -> None:
    whole = fleet.gather(together(PACKS))
    counts, figures = statistics.to_keep(whole)
    groups = [whole.names[group] for group in whole.pack_group]
    assert same(statistics.kept(range(60), groups, counts, figures), whole)
    assert whole.own_mark.size > 0
    few = [3, 4, 40]
    some = statistics.kept(
        few, [groups[one] for one in few], counts[few], [figures[one] for one in few]
    )
    assert same(some, statistics.merge([whole.only(np.array(few))]))


def test_many_units_are_fitted_as_few_are(monkeypatch: pytest.MonkeyPatch) -> None:
    """From a point found on some of them, and by the optimiser over all of them."""
    rng = np.random.default_rng(3)
    units = np.repeat(np.arange(3000), 4)
    years = rng.uniform(0.0, 4.0, units.size)
    own = rng.multivariate_normal([-1.8, 0.25], [[0.36, 0.05], [0.05, 0.04]], 3000)
    response = own[units, 0] + own[units, 1] * years + rng.normal(0.0, 0.2, units.size)
    moments = mixed.moments_of(np.column_stack([np.ones(units.size), years]), response, units)
    found = []
    for sample in (10_000, 200):
        monkeypatch.setattr(mixed, "SAMPLE", sample)
        found.append(mixed.estimate(moments, effects=2))
    monkeypatch.setattr(descent, "descend", lambda *args: None)
    found.append(mixed.estimate(moments, effects=2))
    for other, close in ((found[1], 1e-9), (found[2], 1e-4)):
        assert other.beta == pytest.approx(found[0].beta, rel=close)
        assert other.effect_cov.ravel() == pytest.approx(found[0].effect_cov.ravel(), rel=close)
        assert other.noise_variance == pytest.approx(found[0].noise_variance, rel=close)


def landmarks() -> tuple[list[failures.Route], Floats, Floats]:
    rng = np.random.default_rng(8)
    mean = np.column_stack([rng.uniform(-2.0, 0.5, 5000), rng.uniform(-0.2, 0.8, 5000)])
    half = rng.normal(0.0, 0.2, (5000, 2, 2))
    cov = half @ half.transpose(0, 2, 1)
    rows = np.sort(rng.choice(5000, 800, replace=False))
    own = failures.Route(mean[rows] + 0.3, cov[rows], rows)
    routes = [failures.Route(mean, cov), own]
    years = rng.uniform(0.1, 0.5, 5000)
    chance = failures.expected(failures.Link(0.05, 1.5, 0.1, 0.2), routes, years)
    return routes, years, (rng.random(5000) < chance).astype(np.float64)


def test_the_link_is_the_same_from_some_landmarks_on(monkeypatch: pytest.MonkeyPatch) -> None:
    found = []
    for sample, chunk in ((20_000, 8_192), (300, 700)):
        monkeypatch.setattr(failures, "SAMPLE", sample)
        monkeypatch.setattr(failures, "CHUNK", chunk)
        found.append(failures.estimate_link(*landmarks()))
    assert vars(found[1]) == pytest.approx(vars(found[0]), rel=1e-9)


def test_the_slope_of_the_link_is_that_of_its_value() -> None:
    past = failures._Past(*landmarks(), 0.7)
    at = np.array([-3.0, 0.4, 0.1, -1.4])
    _, slope = past.cost(at)
    for k, step in enumerate(1e-6 * np.eye(4)):
        told = (past.cost(at + step)[0] - past.cost(at - step)[0]) / 2e-6
        assert slope[k] == pytest.approx(told, rel=1e-6, abs=1e-5)


def test_a_descent_ends_at_the_lowest_point_or_says_that_it_is_lost() -> None:
    """The valley of Rosenbrock (1960) Comput. J. 3, 175, with its lowest point at (1, 1)."""

    def valley(at: Floats) -> tuple[float, Floats]:
        x, y = at
        value = (1.0 - x) ** 2 + 100.0 * (y - x * x) ** 2
        slope = [-2.0 * (1.0 - x) - 400.0 * x * (y - x * x), 200.0 * (y - x * x)]
        return float(value), np.array(slope)

    start = np.array([0.95, 0.9025])
    found = descent.descend(valley, start, descent.curvature(valley, start))
    assert found == pytest.approx([1.0, 1.0], abs=1e-10)
    assert descent.descend(valley, start, -np.eye(2)) is None
