"""Which modules of a lithium-ion pack must not be charged, by what their own cells read last."""

from typing import Any

import pytest

from packs.models import Module, Pack
from packs.reads import lithium
from packs.writes import swaps
from tests import world

pytestmark = pytest.mark.django_db


@pytest.fixture
def pack() -> Pack:
    kind = world.pack_type(
        "LI-96", chemistry="li_ion", module_count=24, cells_per_module=4, cell_nominal_v=3.6
    )
    return world.pack("LI-1", kind)


def fit(pack: Pack, removed: str | None, fitted: str | None, day: float) -> None:
    change = {"position": 7, "removed": removed, "fitted": fitted, "orientation": "normal"}
    entry = {
        "pack": pack.serial,
        "done_at": world.later(day),
        "kind": "module",
        "changes": [change],
    }
    swaps.record_swap(by=world.actor(), at=world.later(day), entry=entry)


def read(pack: Pack, day: float, level: str = "module", **low: Any) -> None:
    """A check at rest, 3.6 V a cell, but for the places named `at_…`."""
    count, cells = {"module": (24, 4), "block": (12, 8), "cell": (96, 1)}[level]
    volts: list[float | None] = [3.6 * cells] * count
    for place, value in low.items():
        volts[int(place.removeprefix("at_")) - 1] = value
    world.check(pack, volts, taken_at=world.later(day), level=level)


@pytest.mark.parametrize(
    ("level", "low"),
    [("module", {"at_7": 9.6}), ("cell", {"at_26": 2.4}), ("block", {"at_4": 19.2})],
)
def test_a_low_module_is_not_charged_at_whatever_level_it_was_read(
    pack: Pack, level: str, low: dict[str, float]
) -> None:
    module = world.module("L-7", cells=4)
    fit(pack, None, "L-7", 2)
    read(pack, 3, level, **low)
    refusal = lithium.charge_refusal(module)
    assert refusal is not None
    assert refusal.startswith("Module L-7 reads 2.40 V a cell, below 2.5 V")


def test_it_stays_so_on_the_bench_and_others_are_free(pack: Pack) -> None:
    low, other = world.module("L-7", cells=4), world.module("L-8", cells=4)
    fit(pack, None, "L-7", 2)
    read(pack, 3, at_7=9.6, at_8=14.4)
    fit(pack, "L-7", "L-8", 4)
    assert lithium.charge_refusal(low) is not None
    assert lithium.charge_refusal(other) is None
    read(pack, 5)
    assert lithium.charge_refusal(low) is not None
    assert lithium.charge_refusal(other) is None


def test_what_nobody_read_is_not_refused(pack: Pack) -> None:
    module = world.module("L-7", cells=4)
    assert lithium.charge_refusal(module) is None
    fit(pack, None, "L-7", 2)
    assert lithium.charge_refusal(module) is None
    read(pack, 3, at_7=None)
    assert lithium.charge_refusal(module) is None


def test_a_type_states_its_own_minimum(pack: Pack) -> None:
    pack.pack_type.bench = {"protocol": {"cut_off_cell_v": 3.0}}
    pack.pack_type.save()
    read(pack, 3, at_7=11.6)
    told = lithium.cells(Pack.objects.select_related("pack_type").get(pk=pack.pk))
    assert told is not None
    assert (told.allowed_v, told.range.lowest_at) == (3.0, 7)
    assert "reads 2.90 V a cell, below 3 V" in told.refusal


def test_metal_hydride_goes_by_other_rules() -> None:
    pack = world.pack()
    world.check(pack)
    assert lithium.cells(pack) is None


def test_quarantined_modules_of_a_pack_are_found(pack: Pack) -> None:
    world.module("L-7", cells=4), world.module("D-1", cells=4, donor_pack=pack)
    fit(pack, None, "L-7", 2)
    fit(pack, "L-7", None, 3)
    Module.objects.update(status=Module.Status.QUARANTINED)
    assert [module.tag for module in lithium.quarantined(pack)] == ["D-1", "L-7"]
