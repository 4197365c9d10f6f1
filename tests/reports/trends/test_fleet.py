"""Gathering, merging and estimating."""

import json
from dataclasses import replace

import numpy as np
import pytest

from reports.trends import fleet
from reports.trends.fits import FLEET_PRIOR, PRIOR, Fit
from reports.trends.histories import together
from tests.reports.trends.histories import ENTRY, history
from tests.reports.trends.shop_of_packs import START_DAY, Nature, pack, packs

LATE = START_DAY + 10_000.0
QUARTERS = [90.0 * k for k in range(8)]
PACKS = packs(range(80), Nature())


def test_shards_merge_to_the_same_fit_in_any_order() -> None:
    whole = fleet.fit(PACKS, through_day=LATE)
    shards = [fleet.gather(together(PACKS[a : a + 20], range(a, a + 20))) for a in (60, 0, 40, 20)]
    carried = [fleet.Statistics.from_bytes(each.as_bytes()) for each in shards]
    assert fleet.estimate(fleet.merge(carried), through_day=LATE) == whole


def test_a_fit_comes_back_from_json_exactly() -> None:
    whole = fleet.fit(PACKS, through_day=LATE)
    told = json.loads(json.dumps(whole.parameters()))
    assert Fit.from_parameters(told) == whole
    assert Fit.from_parameters(PRIOR.parameters()) == PRIOR


def test_later_facts_are_not_known() -> None:
    day = START_DAY + 500.0
    early = fleet.fit(PACKS, through_day=day)
    longer = [*PACKS, history([1, 2], [0.2, 0.3])]  # entered after `day`
    assert longer[-1].entry_day > day
    assert fleet.fit(longer, through_day=day) == early
    assert fleet.fit(PACKS, through_day=LATE) != early


def test_before_any_data_the_prior_stands() -> None:
    first = fleet.fit([], through_day=ENTRY)
    assert first.groups == {}
    assert first.link == PRIOR.link
    assert first.fleet.mean == FLEET_PRIOR.mean
    assert first.fleet.failures_per_year == pytest.approx(FLEET_PRIOR.failures_per_year)


def test_packs_without_failures_have_a_rate() -> None:
    calm = [history([0, 100], [0.2, 0.2], contact=1000.0) for _ in range(50)]
    found = fleet.fit(calm, through_day=ENTRY + 2000).group("FIVE/load/block")
    assert 0 < found.failures_per_year < 0.02


def test_a_small_group_leans_on_the_fleet() -> None:
    """Three packs that grow fast in a group of their own: part of the way, not all."""
    odd = [pack(seed, Nature(growth=6.0), "OTHER/load/block") for seed in range(900, 903)]
    found = fleet.fit([*PACKS, *odd], through_day=LATE)
    slow = found.group("MADE-UP/load/block").mean[1]
    fast = found.group("OTHER/load/block").mean[1]
    alone = fleet.fit(
        [pack(seed, Nature(growth=6.0), "OTHER/load/block") for seed in range(900, 960)],
        through_day=LATE,
    ).group("OTHER/load/block")
    assert slow < fast < max(alone.mean[1], fast + 1e-9)
    assert np.diag(found.group("OTHER/load/block").mean_cov)[0] > 0
    assert found.group("NEVER/load/block") == found.fleet


def test_temperature_is_taken_from_within_builds() -> None:
    """Readings that double for 35 °C less; that warm packs are better packs must not count."""
    rng = np.random.default_rng(3)
    some = []
    for _ in range(150):
        climate = rng.uniform(5.0, 35.0)
        warmth = climate + rng.normal(0.0, 8.0, 8)
        own = 0.3 - 0.005 * climate
        spread = own * np.exp(-0.02 * (warmth - 25.0) + rng.normal(0.0, 0.05, 8))
        some.append(replace(history(QUARTERS, spread), temperature_c=warmth))
    found = fleet.fit(some, through_day=LATE)
    assert found.group("FIVE/load/block").temperature == pytest.approx(-0.2, abs=0.02)
