"""Like is compared with like, and a trend never runs across a change."""

from datetime import timedelta
from typing import Any

import numpy as np
import pytest

from packs.models import Pack, Swap, SwapChange
from packs.reads import names
from packs.rules.voltages import to_units
from packs.writes import checks
from reports.reads.knowledge import known
from reports.reads.series import histories
from reports.reads.vantages import vantages
from reports.trends.history import PackHistory
from tests import world
from tests.reports import ageing

pytestmark = pytest.mark.django_db


def told(serial: str, days: float = 2000) -> PackHistory:
    views = vantages([names.packs().get(serial=serial)], as_of=world.later(days=days))
    return histories(known(views)).one(0)


def swap(pack: Pack, days: float, *positions: int, kind: str = "module") -> None:
    """A change of parts as the tables hold it, at the pack's next revision."""
    at = world.later(days=days)
    pack.refresh_from_db()
    Pack.objects.filter(pk=pack.pk).update(
        revision=pack.revision + 1, settled_at=max(at, pack.settled_at + timedelta(seconds=1))
    )
    pack.refresh_from_db()
    made = Swap.objects.create(
        pack=pack,
        revision=pack.revision,
        done_at=at,
        kind=kind,
        starts_build=True,
        **world.posted(b"-", pack.settled_at),
    )
    for position in positions:
        SwapChange.objects.create(swap=made, position=position)


def entry(pack: Pack, days: float, **changes: Any) -> dict[str, Any]:
    return ageing.load_entry(pack, world.later(days=days), 0.3, **changes)


def post(pack: Pack, days: float, **changes: Any) -> None:
    at = world.later(days=days) + timedelta(minutes=1)
    checks.record(by=world.actor(), at=at, entry=entry(pack, days, **changes))


def test_load_checks_are_brought_to_the_reference_by_their_rest_pair() -> None:
    """Rest 8.00/7.90/7.95 V with 20/10/25 mΩ: 0.70 V at 50 A, where a scaled range says 0.10."""
    kind = world.pack_type(
        "TRIO", module_count=3, blocks=[1, 1, 1], block_count=3, reference_load_a=50.0
    )
    pack = world.pack("TP-1", kind)
    rest, ohms = np.array([8.00, 7.90, 7.95]), np.array([0.020, 0.010, 0.025])
    for days in (1.0, 2.0):
        post(pack, days, condition="rest", current_a=0.0, voltages_v=to_units(rest))
        load = to_units(rest - ohms * 40.0)
        post(pack, days + 0.01, current_a=40.0, voltages_v=load)
    np.testing.assert_allclose(told("TP-1").spread_v, [0.70, 0.70], atol=2e-4)


def test_a_pair_is_never_made_across_a_change() -> None:
    pack = world.pack("TP-1")
    volts = to_units([15.5] * 14)
    post(pack, 1.0, condition="rest", current_a=0.0, voltages_v=volts)
    swap(pack, 1.005, 3)
    post(pack, 1.01, current_a=15.0)
    assert told("TP-1").days.size == 1  # the rest series: the load check found no pair
    assert told("TP-1").group == "NM-28/rest/block"


def test_rest_is_read_where_too_little_was_taken_under_load() -> None:
    pack = world.pack("TP-1")
    for days in (1, 2, 3):
        post(pack, days, condition="rest", current_a=0.0)
    post(pack, 400)
    assert told("TP-1").group == "NM-28/rest/block"
    post(pack, 500)
    assert told("TP-1").group == "NM-28/load/block"


def test_levels_never_mix() -> None:
    pack = world.pack("TP-1")
    for days in (1, 2):
        post(pack, days)
    for days in (10, 11, 12):
        post(pack, days, level="module", voltages_v=to_units([7.5] * 28))
    found = told("TP-1")
    assert (found.group, found.days.size, found.positions) == ("NM-28/load/module", 3, 28)


def test_a_swapped_module_renews_its_block() -> None:
    pack = world.pack("TP-1")
    post(pack, 1)
    swap(pack, 100, 3, 28)
    post(pack, 200)
    found = told("TP-1")
    assert found.renewed.shape == (1, 14)
    assert np.flatnonzero(found.renewed[0]).tolist() == [1, 13]


def test_a_change_of_bus_bars_renews_every_position() -> None:
    pack = world.pack("TP-1")
    post(pack, 1)
    swap(pack, 100, kind="component")
    post(pack, 200)
    assert told("TP-1").renewed.all()


def test_what_is_dated_later_is_left_out() -> None:
    pack = ageing.drifting_pack("TP-1", checks_taken=5)
    swap(pack, 300, 3)
    early = told("TP-1", days=200)
    assert (early.days.size, early.renewal_days.size) == (2, 0)


def test_a_clock_that_runs_ahead_is_taken_at_our_own() -> None:
    pack = world.pack("TP-1")
    at = world.later(days=10)
    ahead = ageing.load_entry(pack, at + timedelta(minutes=4), 0.3)
    checks.record(by=world.actor(), at=at, entry=ahead)
    assert told("TP-1", days=10).days.size == 1


def test_a_lead_that_reads_nothing_tells_of_no_module() -> None:
    pack = world.pack("TP-1")
    volts = [15.0] * 13 + [0.0]
    for days in (1, 2):
        post(pack, days, voltages_v=to_units(volts))
    assert told("TP-1").spread_v.max() == 0.0
