"""sites/: workshop locations."""

from typing import Any

import pytest

from packs.models import Site
from packs.reads import sites
from tests import world
from tests.packs.api.conftest import Api
from tests.packs.api.test_pack_types import fault

URL = "/api/v1/sites/"
BODY = {"code": "north", "name": "North yard", "time_zone": "Europe/Vienna"}


def test_a_site_has_safe_settings_unless_said(api: Api) -> None:
    response = api().post(URL, BODY)
    assert (response.status_code, response["Location"]) == (201, URL + "north/")
    told = response.json()
    assert (told["distance"], told["temperature"], told["currency"]) == ("km", "c", "")
    assert (told["touch_limit_v"], told["rules"]) == (50, {})
    assert api().get(URL + "north/").json() == told
    assert str(sites.zone()) == "Europe/Vienna"


def test_the_same_again_is_known_and_another_is_a_conflict(api: Api) -> None:
    manager = api()
    first = manager.post(URL, BODY).json()
    again = manager.post(URL, {**BODY, "distance": "km", "rules": None, "touch_limit_v": 50})
    assert (again.status_code, again.json()) == (200, first)
    before = world.contents()
    assert fault(manager.post(URL, {**BODY, "distance": "mi"})) == (409, "/code", "code_taken")
    assert world.contents() == before


@pytest.mark.parametrize(
    ("changes", "refusal"),
    [
        ({"time_zone": "Europe/Nowhere"}, (422, "/time_zone", "unknown_time_zone")),
        ({"touch_limit_v": 60.5}, (422, "/touch_limit_v", "touch_limit_unsafe")),
        ({"touch_limit_v": 0}, (422, "/touch_limit_v", "touch_limit_unsafe")),
        ({"distance": "miles"}, (400, "/distance", "not_a_choice")),
        ({"currency": "eur"}, (400, "/currency", "bad_currency")),
        ({"rules": "none"}, (400, "/rules", "not_an_object")),
    ],
)
def test_what_no_site_can_have_is_refused(
    api: Api, changes: dict[str, Any], refusal: tuple[int, str, str]
) -> None:
    manager, before = api(), world.contents()
    assert fault(manager.post(URL, {**BODY, **changes})) == refusal
    assert world.contents() == before


def test_a_change_needs_the_version(api: Api) -> None:
    manager, address = api(), URL + "north/"
    manager.post(URL, BODY)
    assert manager.patch(address, {"distance": "mi"}).status_code == 428
    assert (
        manager.patch(address, {"distance": "mi"}, headers={"If-Match": '"8"'}).status_code == 412
    )
    unsafe = manager.patch(address, {"touch_limit_v": 61}, headers={"If-Match": '"1"'})
    assert fault(unsafe) == (422, "/touch_limit_v", "touch_limit_unsafe")
    changed = manager.patch(
        address,
        {"distance": "mi", "touch_limit_v": 60, "currency": "EUR"},
        headers={"If-Match": '"1"'},
    )
    assert (changed.status_code, changed["ETag"]) == (200, '"2"')
    assert Site.objects.get().touch_limit_v == 60
    back = manager.patch(address, {"touch_limit_v": None}, headers={"If-Match": '"2"'})
    assert back.json()["touch_limit_v"] == 50


@pytest.mark.parametrize(("role", "reads"), [("desk", 200), ("bench", 200), ("machine", 403)])
def test_only_the_manager_writes(api: Api, role: str, reads: int) -> None:
    api().post(URL, BODY)
    client = api(role)
    before = world.contents()
    assert client.get(URL + "north/").status_code == reads
    assert client.post(URL, {**BODY, "code": "south"}).status_code == 403
    assert client.patch(URL + "north/", {"name": "x"}).status_code == 403
    assert world.contents() == before


def test_lists_are_ordered(api: Api) -> None:
    manager = api()
    for code in ("b", "a"):
        manager.post(URL, {**BODY, "code": code})
    told = manager.get(URL).json()["results"]
    assert [site["code"] for site in told] == ["a", "b"]
    assert manager.get(URL + "none/").status_code == 404
