"""What a check says beside its mates: blocks of unequal size, builds, and long lists."""

from typing import Any

import pytest
from django.db import OperationalError, connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from packs.api import voltage_checks
from packs.models import Equipment, Pack, VoltageCheck
from packs.writes.digests import digest
from tests import world
from tests.packs.api.conftest import Api
from tests.world import later

CHECKS = "/api/v1/voltage-checks/"


@pytest.fixture
def pack(db: None) -> Pack:
    return world.pack()


@pytest.fixture
def manager(api: Api) -> APIClient:
    return api()


def at(**offset: float) -> str:
    return later(**{"days": 1, **offset}).isoformat()


def load(pack: Pack, **changes: Any) -> dict[str, Any]:
    volts = [round(volt - 0.5, 4) for volt in world.healthy_v(pack.pack_type.module_count)]
    said = {"condition": "load", "current_a": 24.0, "voltages_v": volts}
    return world.check_body(pack, **{**said, **changes})


def stored(client: APIClient, body: dict[str, Any]) -> dict[str, Any]:
    response = client.post(CHECKS, body)
    assert response.status_code == 201, response.content
    return dict(response.json())


def test_a_list_as_long_as_may_be_is_answered(manager: APIClient, pack: Pack) -> None:
    stored(manager, world.check_body(pack, taken_at=at(minutes=4000)))
    listed = [load(pack, taken_at=at(minutes=place)) for place in range(voltage_checks.LIST_MAX)]
    response = manager.post(CHECKS, listed)
    assert response.status_code == 201, response.content[:300]
    spreads = [check["spread_at_reference_v"] for check in response.json()]
    paired = [place for place, spread in enumerate(spreads) if spread is not None]
    assert paired == list(range(3940, 4061))


def test_what_can_not_be_answered_is_not_stored(
    manager: APIClient, pack: Pack, monkeypatch: pytest.MonkeyPatch
) -> None:
    def away(*_: Any) -> None:
        raise OperationalError

    before = world.contents()
    monkeypatch.setattr("packs.reads.comparing.derive", away)
    for body in (load(pack), [load(pack), load(pack)]):
        assert manager.post(CHECKS, body).status_code == 503
    assert world.contents() == before


def test_healthy_blocks_of_unequal_size_have_no_spread(manager: APIClient, db: None) -> None:
    kind = world.pack_type("NM-7", module_count=7, modules_per_block=None, blocks=[3, 2, 2])
    pack = world.pack(kind=kind)
    rest = world.check_body(pack, level="block", voltages_v=[24.0, 16.0, 16.0])
    assert stored(manager, rest)["spread_v"] == 0
    told = stored(manager, load(pack, level="block", voltages_v=[23.1, 15.4, 15.4]))
    assert (told["spread_v"], told["spread_at_reference_v"]) == (0, 0)
    low = stored(manager, {**rest, "taken_at": at(days=3), "voltages_v": [24.0, 15.7, 16.0]})
    assert (low["spread_v"], low["weakest_position"]) == (0.3, 2)


def test_no_pair_across_a_change_that_starts_a_build(manager: APIClient, pack: Pack) -> None:
    stored(manager, world.check_body(pack, taken_at=at(), set="go 1"))
    change = {"pack": pack.serial, "done_at": at(minutes=20), "kind": "module"}
    swap = manager.post("/api/v1/swaps/", {**change, "changes": [{"position": 3}]})
    assert swap.status_code == 201
    alone, of_set = load(pack, taken_at=at(minutes=40)), load(pack, taken_at=at(days=4), set="go 1")
    told = [stored(manager, body) for body in (alone, of_set)]
    assert [check["spread_at_reference_v"] for check in told] == [None, None]
    voided = manager.post(f"{swap['Location']}void/", {"reason": "another pack"})
    assert voided.status_code == 200
    again = [manager.get(f"{CHECKS}{check['id']}/").json() for check in told]
    assert None not in [check["spread_at_reference_v"] for check in again]


def test_a_list_of_many_asks_no_more_than_one_of_a_few(manager: APIClient, pack: Pack) -> None:
    said = {"kind": "meter", "due_on": "2020-01-01"}
    meter = Equipment.objects.create(code="m", **said, **world.posted(digest(said)))
    asked = []
    for count in (2, 12):
        for place in range(count):
            rest = world.check_body(pack, taken_at=at(days=count + place), equipment=meter.code)
            stored(manager, rest)
            stored(manager, load(pack, taken_at=at(days=count + place), equipment=meter.code))
        with CaptureQueriesContext(connection) as queries:
            listed = manager.get(CHECKS).json()["results"]
        assert all(check["warnings"] for check in listed)
        asked.append(len(queries))
    assert asked[0] == asked[1]


def test_the_newest_checks_are_read_by_an_index(pack: Pack) -> None:
    plan = VoltageCheck.objects.order_by("-taken_at", "-pk")[:50].explain()
    if connection.vendor == "sqlite":
        assert "voltagecheck_by_time" in plan
        assert "TEMP B-TREE" not in plan
    assert "voltagecheck_by_time" in connection.introspection.get_constraints(
        connection.cursor(), VoltageCheck._meta.db_table
    )
