"""people/: who does the work."""

from typing import Any

import pytest

from tests import world
from tests.packs.api.conftest import Api
from tests.packs.api.test_pack_types import fault

URL = "/api/v1/people/"
BODY = {
    "code": "kim",
    "name": "Kim Example",
    "roles": ["bench", "desk"],
    "qualifications": [{"level": "live work", "expires_on": "2027-01-31"}],
}


def test_a_person_is_stored_under_a_code(api: Api) -> None:
    response = api().post(URL, BODY)
    assert (response.status_code, response["Location"]) == (201, URL + "kim/")
    told = response.json()
    assert {name: told[name] for name in BODY} == BODY
    assert told["site"] is None
    assert api("desk").get(URL + "kim/").json() == told


def test_the_same_again_is_known_and_another_is_a_conflict(api: Api) -> None:
    manager = api()
    first = manager.post(URL, BODY).json()
    again = manager.post(URL, {**BODY, "roles": ["desk", "bench", "desk"]})
    assert (again.status_code, again.json()) == (200, first)
    before = world.contents()
    assert fault(manager.post(URL, {**BODY, "name": "Lee"})) == (409, "/code", "code_taken")
    assert world.contents() == before


@pytest.mark.parametrize(
    ("changes", "refusal"),
    [
        ({"roles": ["boss"]}, (400, "/roles/0", "not_a_choice")),
        (
            {"qualifications": [{"level": "a", "expires_on": "soon"}]},
            (400, "/qualifications/0/expires_on", "not_a_date"),
        ),
        (
            {"qualifications": [{"grade": 1, "level": "a"}]},
            (400, "/qualifications/0/grade", "unknown_field"),
        ),
        ({"site": "none"}, (422, "/site", "unknown_site")),
        ({"code": "/"}, (400, "/code", "bad_code")),
    ],
)
def test_what_is_wrong_is_pointed_at(
    api: Api, changes: dict[str, Any], refusal: tuple[int, str, str]
) -> None:
    manager, before = api(), world.contents()
    assert fault(manager.post(URL, {**BODY, **changes})) == refusal
    assert world.contents() == before


def test_a_change_needs_the_version(api: Api) -> None:
    manager, address = api(), URL + "kim/"
    manager.post(URL, BODY)
    manager.post("/api/v1/sites/", {"code": "north", "name": "North", "time_zone": "Europe/Vienna"})
    changes = {"roles": ["manager"], "qualifications": [], "site": "north"}
    assert manager.patch(address, changes).status_code == 428
    assert manager.patch(address, changes, headers={"If-Match": '"0"'}).status_code == 412
    changed = manager.patch(address, changes, headers={"If-Match": '"1"'})
    assert (changed.status_code, changed["ETag"]) == (200, '"2"')
    told = changed.json()
    assert {name: told[name] for name in changes} == changes
    assert told["name"] == "Kim Example"
    found = manager.get(URL, {"site": "north"}).json()["results"]
    assert [person["code"] for person in found] == ["kim"]
    assert manager.get(URL, {"site": "south"}).json()["results"] == []


@pytest.mark.parametrize(("role", "reads"), [("desk", 200), ("bench", 200), ("machine", 403)])
def test_only_the_manager_writes(api: Api, role: str, reads: int) -> None:
    world.person()
    client = api(role)
    before = world.contents()
    assert client.get(URL).status_code == reads
    assert client.post(URL, BODY).status_code == 403
    assert client.patch(URL + "kim/", {"name": "x"}).status_code == 403
    assert world.contents() == before
