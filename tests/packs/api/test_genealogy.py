"""From a lot, a donor pack or a module to the packs that carry or carried it, and back."""

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from packs.models import Customer
from packs.reads import genealogy
from packs.rules.identity import encode
from tests import world
from tests.packs import heritage
from tests.packs.api.conftest import Api

pytestmark = pytest.mark.django_db
LOT = "/api/v1/lots/L-7/"


def listed(api: Api, address: str, role: str = "desk") -> list[dict[str, Any]]:
    answer = api(role).get(address)
    assert answer.status_code == 200, answer.content
    rows: list[dict[str, Any]] = answer.json()["results"]
    return rows


def test_a_lot_leads_to_every_pack_that_carries_or_carried_it(api: Api) -> None:
    _, first, second = heritage.spread()
    owner = heritage.car(first)
    heritage.fit(second, 9, day=13, fitted="C")
    heritage.fit(second, 9, day=14, removed="C")
    rows = listed(api, f"{LOT}packs/")
    assert [(row["pack"], row["carries"]) for row in rows] == [
        ("TP-0001", True),
        ("TP-0002", False),
    ]
    assert rows[0]["vehicle"] == heritage.VIN
    assert rows[0]["owner"] == encode(Customer.PREFIX, owner.pk)
    assert rows[0]["call"] == {"name": heritage.OWNER, "phone": heritage.PHONE}
    stays = [(one["module"], one["position"], one["until"] is None) for one in rows[0]["stays"]]
    assert stays == [("A", 3, True), ("B", 4, False)]
    assert (rows[1]["vehicle"], rows[1]["owner"], rows[1]["call"]) == (None, None, None)
    assert [row["pack"] for row in listed(api, f"{LOT}packs/?present=true")] == ["TP-0001"]
    assert [row["pack"] for row in listed(api, f"{LOT}packs/?present=false")] == ["TP-0002"]
    page = api("desk").get(f"{LOT}packs/?ordering=-serial&page_size=1").json()
    assert [row["pack"] for row in page["results"]] == ["TP-0002"]
    assert listed(api, page["next"])[0]["pack"] == "TP-0001"


def test_the_bench_learns_the_car_and_not_whom_to_call(api: Api) -> None:
    _, first, _ = heritage.spread()
    heritage.car(first)
    (row,) = listed(api, f"{LOT}packs/", "bench")
    assert (row["vehicle"], row["call"]) == (heritage.VIN, None)
    assert heritage.OWNER not in str(row)
    assert api("machine").get(f"{LOT}packs/").status_code == 403


def test_a_donor_pack_and_a_module_likewise(api: Api) -> None:
    donor, taker = world.pack("DN-1"), world.pack("TP-0001")
    world.module("X", donor_pack=donor)
    heritage.fit(taker, 5, fitted="X")
    for address in ("packs/dn-1/donated/", "modules/X/packs/"):
        (row,) = listed(api, f"/api/v1/{address}")
        assert (row["pack"], row["stays"][0]["module"]) == ("TP-0001", "X")
    assert api("desk").get("/api/v1/packs/dn-1/donated/yield/").json()["fitted"] == 1
    assert listed(api, "/api/v1/packs/TP-0001/donated/") == []
    assert api("desk").get("/api/v1/modules/none/packs/").status_code == 404
    assert api("desk").get("/api/v1/lots/none/packs/").status_code == 404
    assert api("desk").get("/api/v1/packs/none/donated/").status_code == 404


def test_the_yield_of_a_lot_counts_the_newest_verdict_of_each_kind(api: Api) -> None:
    """C failed and passed later; D passed one kind and failed another; E has no mark to pass."""
    heritage.spread()
    assert api("bench").get(f"{LOT}yield/").json() == {
        "modules": 5,
        "tested": 4,
        "passed": 2,
        "failed": 1,
        "fitted": 2,
        "in_stock": 1,
        "quarantined": 0,
        "scrapped": 1,
        "cost": 300.0,
        "cost_per_good": 150.0,
    }


def test_a_lot_without_a_price_or_a_good_one_has_no_cost_of_one(api: Api) -> None:
    heritage.lot("L-8", unit_cost=30)
    heritage.lot("L-9")
    told = api("bench").get("/api/v1/lots/L-8/yield/").json()
    assert (told["modules"], told["cost"], told["cost_per_good"]) == (0, 0.0, None)
    assert api("bench").get("/api/v1/lots/L-9/yield/").json()["cost"] is None


def test_a_pack_leads_back_to_where_its_modules_came_from(api: Api) -> None:
    _, first, _ = heritage.spread()
    donor = world.pack("DN-1")
    world.module("X", donor_pack=donor)
    heritage.fit(first, 8, fitted="X")
    rows = listed(api, "/api/v1/packs/TP-0001/origins/?present=true")
    told = [(row["position"], row["module"], row["lot"], row["donor_pack"]) for row in rows]
    assert told == [(3, "A", "L-7", None), (8, "X", None, "DN-1")]
    assert (rows[0]["unit_cost"], rows[0]["lot_yield"]["passed"]) == (30.0, 2)
    assert (rows[1]["unit_cost"], rows[1]["donor_yield"]["fitted"]) == (None, 1)
    assert len(listed(api, "/api/v1/packs/TP-0001/origins/")) == 3


def test_a_recall_takes_two_queries_however_many_packs_there_are() -> None:
    bought, first, _ = heritage.spread()

    def queries() -> int:
        with CaptureQueriesContext(
            connection,
        ) as run:
            found = genealogy.carriers(genealogy.of_lot(bought))
        assert found
        return len(run)

    assert queries() == 2
    for number in range(20):
        world.module(f"N-{number}", lot=bought)
        heritage.fit(world.pack(f"NP-{number}"), 1, fitted=f"N-{number}")
    assert queries() == 2
    assert len(genealogy.carriers(genealogy.of_lot(bought))) == 21
    only = genealogy.carriers(genealogy.of_lot(bought), [first.pk])
    assert [one.serial for one in only] == ["TP-0001"]


def test_pages_of_origins_take_a_fixed_number_of_queries() -> None:
    _, first, _ = heritage.spread()

    def queries() -> int:
        with CaptureQueriesContext(connection) as run:
            genealogy.sources(list(genealogy.stays_in(first)))
        return len(run)

    before = queries()
    for number in range(10, 20):
        world.module(f"N-{number}", lot=heritage.lot(f"L-{number}"))
        heritage.fit(first, number, fitted=f"N-{number}")
    assert queries() == before == 4
