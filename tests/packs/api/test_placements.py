"""placements/: which module sat where, and when."""

from typing import Any

import pytest
from rest_framework.test import APIClient

from tests import world
from tests.packs.api.conftest import Api
from tests.world import later

pytestmark = pytest.mark.django_db
ADDRESS = "/api/v1/placements/"


@pytest.fixture
def client(api: Api) -> APIClient:
    """A bench, with module A at position 3 from day 10 to 20, then B."""
    world.pack()
    world.module("A"), world.module("B")
    bench = api("bench")
    for day, removed, fitted in ((10, None, "A"), (20, "A", "B")):
        change = {"position": 3, "removed": removed, "fitted": fitted}
        swap = {
            "pack": "TP-0001",
            "done_at": later(days=day).isoformat(),
            "kind": "module",
            "changes": [change],
        }
        assert bench.post("/api/v1/swaps/", swap).status_code == 201
    return bench


def tags(client: APIClient, query: str) -> list[str | None]:
    answer = client.get(f"{ADDRESS}?pack=tp-0001&position=3&{query}")
    assert answer.status_code == 200
    return [row["module"] for row in answer.json()["results"]]


@pytest.mark.parametrize(
    ("query", "expected"),
    [
        ("", [None, "A", "B"]),
        ("ordering=-id", ["B", "A", None]),
        ("present=true", ["B"]),
        ("present=false", [None, "A"]),
        ("module=A", ["A"]),
        ("at=2024-03-05T00:00:00Z", [None]),
        ("at=2024-03-11T09:00:00Z", ["A"]),
        ("at=2024-03-21T09:00:00Z", ["B"]),
    ],
)
def test_filters(client: APIClient, query: str, expected: list[str | None]) -> None:
    assert tags(client, query) == expected


def test_an_interval_names_the_swap_that_began_it(client: APIClient) -> None:
    told = client.get(f"{ADDRESS}?module=A").json()["results"][0]
    swap = client.get("/api/v1/swaps/?ordering=done_at").json()["results"][0]
    assert told["swap"] == swap["id"]
    assert told["fitted_at"] == swap["done_at"]
    assert (told["orientation"], told["position"]) == ("normal", 3)
    assert client.get(f"{ADDRESS}{told['id']}/").json() == told


def test_every_position_of_a_pack_is_there_page_by_page(client: APIClient) -> None:
    positions: list[int] = []
    address: Any = f"{ADDRESS}?present=true&page_size=10&ordering=position"
    while address:
        page = client.get(address).json()
        positions += [row["position"] for row in page["results"]]
        address = page["next"]
    assert positions == list(range(1, 29))


def test_it_is_only_read(client: APIClient) -> None:
    assert client.post(ADDRESS, {}).status_code in (403, 405)
    assert client.get(f"{ADDRESS}?at=yesterday").status_code == 400


@pytest.mark.parametrize("role", ["desk", "bench", "manager", "machine"])
def test_every_role_reads(api: Api, role: str) -> None:
    assert api(role).get(ADDRESS).status_code == 200
