"""What came from a lot or a donor pack is set aside, and whom that concerns is answered."""

import pytest

from packs.models import Edit, Module
from tests import world
from tests.packs import heritage
from tests.packs.api.conftest import Api
from tests.packs.api.test_pack_types import fault

pytestmark = pytest.mark.django_db
ADDRESS = "/api/v1/lots/L-7/quarantine/"


def states() -> dict[str, str]:
    return dict(Module.objects.order_by("tag").values_list("tag", "status"))


def test_a_lot_is_set_aside_and_the_cars_to_call_are_answered(api: Api) -> None:
    _, first, _ = heritage.spread()
    heritage.car(first)
    world.person("kim")
    world.module("Z")
    answer = api("manager").post(ADDRESS, {"reason": "vents leak", "done_by": "kim"})
    assert answer.status_code == 200, answer.content
    told = answer.json()
    assert told["modules"] == ["C", "D", "E"]
    (pack,) = told["packs"]
    assert (pack["pack"], pack["vehicle"]) == ("TP-0001", heritage.VIN)
    assert pack["call"] == {"name": heritage.OWNER, "phone": heritage.PHONE}
    set_aside = dict.fromkeys("CDE", "quarantined")
    assert states() == {"A": "fitted", "B": "scrapped", **set_aside, "Z": "stock"}
    row = Module.objects.get(tag="D")
    assert (row.status_reason, row.reserved_for, row.version) == ("vents leak (kim)", None, 2)
    edit = Edit.objects.get(kind="module", key="D")
    assert edit.changes["status"] == ["reserved", "quarantined"]


def test_sent_again_it_finds_nothing_to_do(api: Api) -> None:
    heritage.spread()
    bench = api("bench")
    bench.post(ADDRESS, {"reason": "vents leak"})
    before = world.contents()
    again = bench.post(ADDRESS, {"reason": "another word"})
    assert again.json()["modules"] == []
    assert again.json()["packs"][0]["call"] is None
    assert world.contents() == before


def test_what_a_donor_pack_gave_is_set_aside(api: Api) -> None:
    donor = world.pack("DN-1")
    world.module("X", donor_pack=donor), world.module("Y")
    answer = api("bench").post("/api/v1/packs/dn-1/donated/quarantine/", {"reason": "flooded car"})
    assert answer.json() == {"modules": ["X"], "packs": []}
    assert states() == {"X": "quarantined", "Y": "stock"}


def test_what_is_refused_changes_nothing(api: Api) -> None:
    heritage.spread()
    bench, before = api("bench"), world.contents()
    assert fault(bench.post(ADDRESS, {})) == (400, "/reason", "required")
    assert fault(bench.post(ADDRESS, {"reason": ""})) == (400, "/reason", "blank")
    unknown = bench.post(ADDRESS, {"reason": "x", "done_by": "nobody"})
    assert fault(unknown) == (422, "/done_by", "unknown_person")
    assert bench.post("/api/v1/lots/none/quarantine/", {"reason": "x"}).status_code == 404
    assert bench.get(ADDRESS).status_code == 405
    assert world.contents() == before
    for role in ("desk", "machine"):
        assert api(role).post(ADDRESS, {"reason": "x"}).status_code == 403
