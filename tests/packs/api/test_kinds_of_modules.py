"""A module is fitted only where its form and chemistry are the pack's, as far as they are known."""

from typing import Any

import pytest

from packs.models import Module, ModuleTest, Pack
from packs.reads import inventory, stock
from tests import world
from tests.packs.api.conftest import Api

pytestmark = pytest.mark.django_db
ADDRESS = "/api/v1/swaps/"


@pytest.fixture
def pack() -> Pack:
    return world.pack()


@pytest.fixture
def lithium() -> Pack:
    kind = world.pack_type("LI-28", chemistry="li_ion", cell_nominal_v=3.6)
    return world.pack("LI-0001", kind)


def fit(api: Api, pack: Pack, tag: str, position: int = 3, day: float = 10) -> Any:
    change = {"position": position, "removed": None, "fitted": tag, "reason": "slow"}
    done_at = world.later(days=day).isoformat()
    said = {"pack": pack.serial, "done_at": done_at, "kind": "module", "changes": [change]}
    return api("bench").post(ADDRESS, said)


def faults(answer: Any) -> list[tuple[str, str]]:
    assert answer.status_code == 409, answer.json()
    return [(one["pointer"], one["code"]) for one in answer.json()["errors"]]


def test_a_module_of_which_nothing_is_known_may_sit_anywhere(api: Api, pack: Pack) -> None:
    world.module("A", form="pouch")
    assert fit(api, pack, "A").status_code == 201


def test_another_form_than_the_pack_has_is_refused(api: Api, pack: Pack) -> None:
    world.module("A"), world.module("B", form="pouch")
    assert fit(api, pack, "A").status_code == 201
    answer = fit(api, pack, "B", position=4, day=11)
    assert faults(answer) == [("/changes/0/fitted", "other_form")]
    assert "choose another" in answer.content.decode()
    assert Module.objects.get(tag="B").status == "stock"


def test_a_pack_without_modules_is_as_others_of_its_type(api: Api, pack: Pack) -> None:
    world.module("A"), world.module("B", form="pouch")
    assert fit(api, pack, "A").status_code == 201
    answer = fit(api, world.pack("TP-0002"), "B")
    assert faults(answer) == [("/changes/0/fitted", "other_form")]


def test_the_donor_pack_tells_the_chemistry(api: Api, pack: Pack, lithium: Pack) -> None:
    world.module("A", donor_pack=lithium)
    assert faults(fit(api, pack, "A")) == [("/changes/0/fitted", "other_chemistry")]
    assert fit(api, lithium, "A").status_code == 201


def test_the_pack_that_it_sat_in_tells_it(api: Api, pack: Pack, lithium: Pack) -> None:
    world.module("A")
    assert fit(api, lithium, "A").status_code == 201
    out = {"position": 3, "removed": "A", "fitted": None, "reason": "slow"}
    said = {"pack": lithium.serial, "kind": "module", "changes": [out]}
    said["done_at"] = world.later(days=12).isoformat()
    assert api("bench").post(ADDRESS, said).status_code == 201
    assert faults(fit(api, pack, "A", day=14)) == [("/changes/0/fitted", "other_chemistry")]


def test_the_type_that_its_test_was_judged_by_tells_it(api: Api, pack: Pack, lithium: Pack) -> None:
    ModuleTest.objects.create(
        module=world.module("A"),
        kind="capacity",
        started_at=world.later(1),
        ended_at=world.later(2),
        measured={"pack_type": lithium.pack_type.code},
        **world.posted(b"-"),
    )
    assert faults(fit(api, pack, "A")) == [("/changes/0/fitted", "other_chemistry")]
    ModuleTest.objects.update(voided_at=world.later(30), void_reason="wrong type")
    assert fit(api, pack, "A").status_code == 201


def test_the_stock_offers_what_may_be_fitted(api: Api, pack: Pack, lithium: Pack) -> None:
    world.module("SITS")
    assert fit(api, pack, "SITS").status_code == 201
    world.module("FREE"), world.module("POUCH", form="pouch")
    world.module("LI", donor_pack=lithium)
    assert [row.tag for row in stock.loose(pack.pack_type, None)] == ["FREE"]
    assert [row.tag for row in stock.loose(lithium.pack_type, None)] == ["FREE", "LI", "POUCH"]
    kinds = {group.form: group.types for group in inventory.groups(at=world.later(30))}
    assert kinds == {"prismatic": ("LI-28", "NM-28"), "pouch": ("LI-28",)}
