"""lots/: modules bought together."""

from typing import Any

import pytest

from packs.models import Lot
from tests import world
from tests.packs.api.conftest import Api

pytestmark = pytest.mark.django_db
ADDRESS = "/api/v1/lots/"


def body(code: str = "L-1", **changes: Any) -> dict[str, Any]:
    return {
        "code": code,
        "supplier": "North yard",
        "received_on": "2024-02-01",
        "unit_cost": 31.5,
        "count": 40,
        "origin_note": "",
        "climate": "cold",
        **changes,
    }


def test_a_lot(api: Api) -> None:
    answer = api("bench").post(ADDRESS, body())
    assert answer.status_code == 201
    told = answer.json()
    assert {name: told[name] for name in body()} == body()
    assert api("desk").get(answer["Location"]).json() == told


def test_the_same_code_again(api: Api) -> None:
    client = api("bench")
    client.post(ADDRESS, body())
    assert client.post(ADDRESS, body()).status_code == 200
    other = client.post(ADDRESS, body(count=41))
    assert (other.status_code, other.json()["errors"][0]["pointer"]) == (409, "/code")
    assert Lot.objects.get().count == 40


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"unit_cost": "31.50"}, "/unit_cost"),
        ({"received_on": "1.2.2024"}, "/received_on"),
        ({"count": 1.5}, "/count"),
        ({"colour": "red"}, "/colour"),
    ],
)
def test_what_is_malformed(api: Api, changes: dict[str, Any], pointer: str) -> None:
    client = api("bench")
    before = world.contents()
    answer = client.post(ADDRESS, body(**changes))
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (400, pointer)
    assert world.contents() == before


@pytest.mark.parametrize(
    ("role", "read", "write"),
    [("desk", 200, 403), ("bench", 200, 201), ("manager", 200, 201), ("machine", 403, 403)],
)
def test_roles(api: Api, role: str, read: int, write: int) -> None:
    client = api(role)
    assert client.get(ADDRESS).status_code == read
    assert client.post(ADDRESS, body()).status_code == write


def test_lists(api: Api) -> None:
    client = api("bench")
    client.post(ADDRESS, body("L-2", supplier="South yard"))
    client.post(ADDRESS, body("L-1", received_on="2024-05-01"))

    def codes(query: str) -> list[str]:
        return [row["code"] for row in client.get(f"{ADDRESS}?{query}").json()["results"]]

    assert codes("") == ["L-1", "L-2"]
    assert codes("ordering=-code") == ["L-2", "L-1"]
    assert codes("supplier=South yard") == ["L-2"]
    assert codes("received_since=2024-03-01") == ["L-1"]
    assert codes("received_until=2024-03-01") == ["L-2"]
