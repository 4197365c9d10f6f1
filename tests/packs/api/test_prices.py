"""prices/: the shop's own list."""

from decimal import Decimal
from typing import Any

import pytest

from packs.models import Edit, PriceItem
from packs.reads import prices, sites
from tests import world
from tests.packs.api.conftest import Api
from tests.packs.shelf import fault

URL = "/api/v1/prices/"


def body(code: str = "module", **changes: Any) -> dict[str, Any]:
    said = {"what": "Module, tested and matched", "kind": "module", "price": 58.5, "hours": 4.5}
    return {"code": code, **said, **changes}


def test_a_line_is_kept_and_changed(api: Api) -> None:
    made = api("manager").post(URL, body())
    assert made.status_code == 201
    told = made.json()
    assert (told["price"], told["hours"], told["pack_type"]) == (58.5, 4.5, None)
    assert api("manager").post(URL, body()).status_code == 200
    assert api("manager").post(URL, body(price=60)).status_code == 409
    version = api("bench").get(f"{URL}module/")["ETag"]
    changed = api("manager").patch(f"{URL}module/", {"price": 61.25}, HTTP_IF_MATCH=version)
    assert changed.json()["price"] == 61.25
    assert Edit.objects.get(kind="price").changes == {"price": ["58.50", "61.25"]}
    stale = api("manager").patch(f"{URL}module/", {"price": 1}, HTTP_IF_MATCH=version)
    assert stale.status_code == 412


def test_a_part_is_named_where_it_is_one(api: Api) -> None:
    told = api("manager").post(URL, body(kind="component"))
    assert fault(told, "/component_kind")["code"] == "part_needed"
    told = api("manager").post(URL, body(component_kind="fuse"))
    assert fault(told, "/component_kind")["code"] == "no_part_here"
    assert (
        api("manager").post(URL, body(kind="component", component_kind="fuse")).status_code == 201
    )
    assert api("manager").post(URL, body("x", price=-1)).status_code == 422
    assert api("manager").post(URL, body("x", pack_type="none")).status_code == 422


def test_only_the_manager_writes_it(api: Api) -> None:
    assert api("bench").post(URL, body()).status_code == 403
    assert api("desk").get(URL).status_code == 200
    assert api("machine").get(URL).status_code == 403


@pytest.mark.django_db
def test_the_closest_line_holds(api: Api) -> None:
    kind, other = world.pack_type(), world.pack_type("NM-8", module_count=8)
    manager = api("manager")
    manager.post(URL, body("a-any", price=50))
    manager.post(URL, body("b-mine", price=60, pack_type=kind.code))
    manager.post(URL, body("hour", kind="hour", what="An hour", price=72, hours=0))
    manager.post(URL, body("fuse", kind="component", component_kind="fuse", price=12))
    site = sites.present()
    mine, theirs = prices.of_type(kind, site), prices.of_type(other, site)
    assert mine.module == PriceItem.objects.get(code="b-mine")
    assert theirs.module == PriceItem.objects.get(code="a-any")
    assert mine.an_hour == Decimal(72)
    assert mine.rebuild is None
    assert mine.component("fuse") == PriceItem.objects.get(code="fuse")
    assert mine.component("bus_bar") is None
