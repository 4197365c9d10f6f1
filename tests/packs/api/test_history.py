"""packs/{serial}/history/: everything that happened to a pack, newest first."""

from typing import Any

import pytest
from rest_framework.test import APIClient

from packs.models import Pack
from packs.reads import history
from packs.reads.history import kinds_for, kinds_known, resource_of
from packs.reads.roles import TABLE
from tests import world
from tests.packs.api.conftest import Api
from tests.world import later

pytestmark = pytest.mark.django_db
ADDRESS = "/api/v1/packs/tp-0001/history/"


@pytest.fixture
def pack(db: None) -> Pack:
    """A pack with checks at days 1 and 2."""
    made = world.pack()
    world.check(made, at=later(days=3))
    volts: list[float | None] = [*world.healthy_v()]
    volts[6] = 7.5
    world.check(
        made, volts, taken_at=later(days=2), at=later(days=3), condition="load", current_a=30.0
    )
    return made


def swap(client: APIClient, day: float = 10, **more: Any) -> str:
    said = {
        "pack": "TP-0001",
        "done_at": later(days=day).isoformat(),
        "kind": "component",
        "changes": [{"slot": "fuse"}],
        **more,
    }
    answer = client.post("/api/v1/swaps/", said)
    assert answer.status_code == 201
    return str(answer["Location"])


def lines(client: APIClient, query: str = "") -> list[dict[str, Any]]:
    answer = client.get(f"{ADDRESS}?{query}")
    assert answer.status_code == 200
    return list(answer.json()["results"])


def test_one_shape_newest_first(api: Api, pack: Pack) -> None:
    world.person("kim")
    client = api("bench")
    address = swap(client, done_by="kim")
    told = lines(client)
    assert told[0] == {
        "at": "2024-03-11T09:00:00Z",
        "kind": "swap",
        "summary": "Parts changed: fuse",
        "by": "kim",
        "link": address,
    }
    assert [line["summary"] for line in told[1:]] == [
        "Load check, 28 modules at 30 A: spread 0.42 V, module 7 lowest",
        "Rest check, 28 modules: spread 0.02 V, module 1 lowest",
        "Pack TP-0001 recorded, type NM-28",
    ]
    assert [line["by"] for line in told[1:]] == [world.CLIENT] * 3
    assert all(client.get(line["link"]).status_code == 200 for line in told)


def test_a_late_fact_stands_where_it_happened(api: Api, pack: Pack) -> None:
    client = api("bench")
    swap(client, day=10)
    swap(client, day=1.5)
    assert [line["kind"] for line in lines(client)] == [
        "swap",
        "voltage_check",
        "swap",
        "voltage_check",
        "pack",
    ]


def test_what_was_voided_is_told_as_voided(api: Api, pack: Pack) -> None:
    manager = api()
    address = swap(manager)
    check = manager.get("/api/v1/voltage-checks/").json()["results"][0]
    manager.post(f"{address}void/", {"reason": "another pack"})
    manager.post(f"/api/v1/voltage-checks/{check['id']}/void/", {"reason": "one lead off"})
    told = [line["summary"] for line in lines(manager)]
    assert told[:3] == [
        "Voltage check voided: one lead off",
        "Swap voided: another pack",
        "Parts changed: fuse (voided)",
    ]
    assert told[3] == "Load check, 28 modules at 30 A: spread 0.42 V, module 7 lowest (voided)"
    assert lines(manager)[0]["link"] == f"/api/v1/voltage-checks/{check['id']}/"


def test_each_role_sees_what_it_may_see_elsewhere(api: Api, pack: Pack) -> None:
    manager = api()
    swap(manager)
    said = {"pack": "TP-0001", "failed_on": "2024-03-20", "cause": "module"}
    manager.post("/api/v1/failures/", {**said, "how_known": "code_set"})
    seen = {
        role: {line["kind"] for line in lines(api(role))}
        for role in ("desk", "bench", "manager", "machine")
    }
    everything = {"swap", "failure", "voltage_check", "pack"}
    assert seen["desk"] == seen["bench"] == seen["manager"] == everything
    assert seen["machine"] == {"voltage_check", "pack"}


def test_no_kind_is_shown_to_a_role_that_may_not_read_it() -> None:
    assert "customer" in kinds_known()
    assert "customer" not in kinds_for(frozenset({"bench"}))
    assert kinds_for(frozenset()) == []
    assert resource_of("reassembly") == "reassemblies"
    facts = {"voltage_check", "swap", "failure", "inspection", "warranty", "claim"}
    assert {resource_of(kind) for kind in facts} <= set(TABLE)


def test_pages_forwards_and_back(api: Api, pack: Pack) -> None:
    client = api("bench")
    for number in range(5):
        swap(client, day=4, external_id=f"s-{number}")  # all at the same instant
    everything = [(line["at"], line["link"]) for line in lines(client)]
    assert len(set(everything)) == 8
    pages, address = [], f"{ADDRESS}?page_size=3"
    while address:
        page = client.get(address).json()
        pages.append([(line["at"], line["link"]) for line in page["results"]])
        last, address = page, page["next"]
    assert [len(page) for page in pages] == [3, 3, 2]
    assert [line for page in pages for line in page] == everything
    back = client.get(last["previous"]).json()
    assert [(line["at"], line["link"]) for line in back["results"]] == pages[1]
    first = client.get(back["previous"]).json()
    assert [(line["at"], line["link"]) for line in first["results"]] == pages[0]
    assert first["previous"] is None
    assert client.get(first["next"]).json() == {**back, "previous": back["previous"]}


def test_a_line_written_meanwhile_shifts_no_page(api: Api, pack: Pack) -> None:
    client = api("bench")
    first = client.get(f"{ADDRESS}?page_size=2").json()
    swap(client)
    second = client.get(first["next"]).json()
    assert [line["kind"] for line in second["results"]] == ["pack"]
    newer = client.get(second["previous"]).json()
    assert [line["kind"] for line in newer["results"]] == ["voltage_check", "voltage_check"]
    assert [line["kind"] for line in client.get(newer["previous"]).json()["results"]] == ["swap"]


@pytest.mark.parametrize(
    "query", ["cursor=x", "cursor=WzFd", "ordering=at", "kind=dream", "colour=red"]
)
def test_what_is_malformed(api: Api, pack: Pack, query: str) -> None:
    assert api().get(f"{ADDRESS}?{query}").status_code == 400


def test_one_kind_only(api: Api, pack: Pack) -> None:
    swap(api())
    assert [line["kind"] for line in lines(api(), "kind=swap")] == ["swap"]
    assert lines(api("machine"), "kind=swap") == []


def test_no_such_pack(api: Api) -> None:
    assert api().get("/api/v1/packs/none/history/").status_code == 404


def test_the_page_of_a_pack_reads_the_same(api: Api, pack: Pack) -> None:
    found = history.page(pack, kinds=kinds_for(frozenset({"manager"})), size=1)
    assert (len(found.lines), found.newer, found.older) == (1, False, True)
    assert found.lines[0].kind == "voltage_check"
