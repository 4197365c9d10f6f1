"""matchings/: modules of the stock for positions of a pack."""

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from packs.models import HistoryEntry, Matching, Module, PackType
from packs.reads import stock
from tests import world
from tests.packs import shelf
from tests.packs.api.conftest import Api
from tests.packs.shelf import fault

URL = "/api/v1/matchings/"
MARKS = {"capacity_ah": 5.0, "resistance_mohm": 32.0, "stand_mv_per_day": 14.0}


@pytest.fixture
def pack(db: None) -> str:
    world.pack("TP-0001", world.pack_type(module_count=8, bench={"pass_marks": MARKS}))
    return "TP-0001"


@pytest.fixture
def visit(api: Api, pack: str) -> str:
    body = {"pack": pack, "opened_at": world.later(days=21).isoformat()}
    told: str = api("desk").post("/api/v1/visits/", body).json()["id"]
    return told


def body(**changes: Any) -> dict[str, Any]:
    return {"pack": "TP-0001", "at": world.later(days=30).isoformat(), **changes}


def status_of(tag: str) -> str:
    return Module.objects.get(tag=tag).status


def test_modules_are_proposed_with_why(api: Api, pack: str) -> None:
    shelf.stock(20)
    response = api("bench").post(URL, body())
    assert response.status_code == 201, response.content
    told = response.json()
    assert [row["position"] for row in told["taken"]] == list(range(1, 9))
    assert [row["block"] for row in told["taken"]] == [1, 1, 2, 2, 3, 3, 4, 4]
    assert len(set(shelf.tags(told["taken"]))) == 8
    assert told["proposed"]["places"] == [
        {"position": row["position"], "module": row["module"]} for row in told["taken"]
    ]
    assert 0 <= told["proposed"]["gap"] < 0.05
    assert told["proposed"]["total"] == told["proposed"]["total_taken"]
    assert told["proposed"]["considered"] == 20
    assert "days old" in told["taken"][0]["why"]
    assert told["proposed"]["left_out"][0]["why"]
    assert "equal charge" in told["before_joining"]
    assert told["form"] == "prismatic"
    line = HistoryEntry.objects.get(kind="matching")
    assert line.summary == "Matching: 8 modules chosen from stock"
    assert api("desk").get(f"{URL}{told['id']}/").json() == told


def test_only_modules_of_one_kind_that_are_loose_are_matched(api: Api, pack: str) -> None:
    shelf.stock(9)
    shelf.stock(3, first=50, cells=8)
    shelf.stock(3, first=60, form="pouch")
    shelf.stock(3, first=70, generation="B")
    shelf.stock(3, first=80, status="quarantined")
    told = api("bench").post(URL, body()).json()
    assert told["proposed"]["considered"] == 9
    few = api("bench").post(URL, body(generation="B", positions=[1, 2]))
    assert set(shelf.tags(few.json()["taken"])) < {"S-070", "S-071", "S-072"}


def test_the_newest_figures_that_stand_count(api: Api, pack: str) -> None:
    one = world.module("M-1")
    shelf.record_tests(
        one, days_ago=10, capacity_ah=5.2, resistance_mohm=24.0, stand_mv_per_day=4.0
    )
    shelf.record_tests(one, days_ago=2, capacity_ah=6.1)
    (bad,) = shelf.record_tests(one, days_ago=1, capacity_ah=3.0)
    type(bad).objects.filter(pk=bad.pk).update(voided_at=shelf.TESTED, void_reason="slipped clip")
    told = api("bench").post(URL, body(positions=[3])).json()["taken"][0]
    assert (told["module"], told["capacity_ah"], told["resistance_mohm"]) == ("M-1", 6.1, 24.0)
    assert told["age_days"] == pytest.approx(20.0)


def test_those_without_a_test_are_kept_out_or_kept(api: Api, pack: str) -> None:
    shelf.stock(6)
    for number in range(4):
        shelf.record_tests(world.module(f"U-{number}"), capacity_ah=6.0)
    response = api("bench").post(URL, body())
    assert response.status_code == 409
    told = fault(response, "/positions")
    assert told["code"] == "too_few_candidates"
    assert (
        "8 positions are wanted, and 6 prismatic modules of 6 cells may be matched"
        in told["detail"]
    )
    kept = api("bench").post(URL, body(keep_unmeasured=True)).json()
    assert sum(tag.startswith("U-") for tag in shelf.tags(kept["taken"])) >= 2
    less = api("bench").post(URL, body(positions=[1, 2])).json()["proposed"]
    assert (less["considered"], less["not_eligible"]) == (6, 4)
    assert {
        "module": "U-0",
        "more": None,
        "why": "no test says its resistance or self-discharge",
    } in less["left_out"]


def test_what_sits_beside_anchors_the_middle(api: Api, pack: str) -> None:
    shelf.stock(12)
    weak = shelf.stock(6, first=40, seed=3)
    changes = [
        {"position": place, "removed": None, "fitted": module.tag, "reason": "rebuilt"}
        for place, module in enumerate(weak, 3)
    ]
    swap = {
        "pack": pack,
        "kind": "module",
        "done_at": world.later(days=25).isoformat(),
        "changes": changes,
    }
    assert api("bench").post("/api/v1/swaps/", swap).status_code == 201
    told = api("bench").post(URL, body(positions=[1, 2])).json()
    sitting = [
        one.values[0]
        for one in stock.figures([m.pk for m in weak], at=world.later(days=30)).values()
    ]
    values = [row["capacity_ah"] for row in told["taken"]] + sitting
    assert told["proposed"]["middle"]["capacity_ah"] == pytest.approx(sum(values) / 8, rel=1e-5)
    assert told["proposed"]["considered"] == 12


def test_reserving_holds_the_modules_until_it_is_voided(api: Api, pack: str, visit: str) -> None:
    shelf.stock(12)
    told = api("bench").post(URL, body(visit=visit, reserve=True)).json()
    tags = shelf.tags(told["taken"])
    assert {status_of(tag) for tag in tags} == {"reserved"}
    other = world.pack("TP-0002", world.pack_type("NM-8", module_count=8))
    refused = api("bench").post(URL, body(pack=other.serial))
    assert refused.status_code == 409
    again = api("bench").post(
        URL, body(visit=visit, reserve=True, positions=[1, 2], supersedes=told["id"])
    )
    assert again.status_code == 201, again.content
    kept = set(shelf.tags(again.json()["taken"]))
    assert {tag for tag in tags if status_of(tag) == "reserved"} <= kept
    assert sum(row.status == "reserved" for row in Module.objects.all()) == 2
    void = api("manager").post(f"{URL}{again.json()['id']}/void/", {"reason": "car was sold"})
    assert void.status_code == 200
    assert not Module.objects.filter(status="reserved").exists()
    assert not Module.objects.filter(reserved_for__isnull=False).exists()


def test_to_reserve_names_a_visit(api: Api, pack: str) -> None:
    shelf.stock(9)
    assert fault(api("bench").post(URL, body(reserve=True)), "/visit")["code"] == "visit_needed"
    assert Matching.objects.count() == 0


def test_somebody_knows_better_with_a_reason(api: Api, pack: str) -> None:
    shelf.stock(12)
    first = api("bench").post(URL, body()).json()
    left = first["proposed"]["left_out"][0]["module"]
    was = first["taken"][2]["module"]
    row = {"position": 3, "module": left, "reason": "same lot as its neighbour"}
    told = api("bench").post(URL, body(overruled=[row], supersedes=first["id"])).json()
    assert told["overruled"] == [{**row, "instead_of": was}]
    assert told["taken"][2]["module"] == left
    assert was not in shelf.tags(told["taken"])
    assert told["proposed"]["places"] == first["proposed"]["places"]
    assert told["proposed"]["total_taken"] > told["proposed"]["total"]
    swapped = {"position": 1, "module": first["taken"][7]["module"], "reason": "its lead is short"}
    told = api("bench").post(URL, body(overruled=[swapped])).json()
    assert told["taken"][0]["module"] == first["taken"][7]["module"]
    assert told["taken"][7]["module"] == first["taken"][0]["module"]


def test_what_overrules_is_looked_at(api: Api, pack: str) -> None:
    shelf.stock(9)
    bench = api("bench")

    def code(pointer: str, **row: Any) -> str:
        said = {"position": 1, "module": "S-001", "reason": "so", **row}
        told: str = fault(bench.post(URL, body(positions=[1, 2], overruled=[said])), pointer)[
            "code"
        ]
        return told

    assert code("/overruled/0/position", position=5) == "not_matched"
    assert code("/overruled/0/module", module="S-999") == "no_candidate"
    assert bench.post(URL, body(overruled=[{"position": 1, "module": "S-001"}])).status_code == 400
    twice = [{"position": 1, "module": f"S-00{n}", "reason": "so"} for n in (1, 2)]
    response = bench.post(URL, body(positions=[1, 2], overruled=twice))
    assert fault(response, "/overruled/1")["code"] == "overruled_twice"


def test_candidates_that_are_named_are_loose_and_alike(api: Api, pack: str) -> None:
    shelf.stock(9)
    world.module("Q-1", status="quarantined")
    world.module("P-1", form="pouch")
    bench = api("bench")
    told = bench.post(URL, body(positions=[2], candidates=["S-004", "S-007"])).json()
    assert told["taken"][0]["module"] in {"S-004", "S-007"}
    assert told["candidates"] == ["S-004", "S-007"]
    response = bench.post(URL, body(positions=[2], candidates=["Q-1"]))
    assert response.status_code == 409
    assert fault(response, "/candidates/0")["code"] == "not_in_stock"
    response = bench.post(URL, body(positions=[2], candidates=["S-001", "S-002", "P-1"]))
    assert fault(response, "/candidates/2")["code"] == "other_kind"
    response = bench.post(URL, body(positions=[2], candidates=["nobody"]))
    assert response.status_code == 422


@pytest.mark.parametrize(
    ("positions", "code"),
    [([0], "min_value"), ([9], "no_such_position"), ([1, 1], "named_twice"), ([], "no_position")],
)
def test_positions_are_those_of_the_pack(
    api: Api, pack: str, positions: list[int], code: str
) -> None:
    shelf.stock(9)
    response = api("bench").post(URL, body(positions=positions))
    assert response.status_code == 422
    assert response.json()["errors"][0]["code"] == code


def test_sent_twice_it_is_there_once_whatever_the_stock_did(api: Api, pack: str) -> None:
    shelf.stock(9)
    said = body(external_id="x-1", positions=[1, 2])
    first = api("bench").post(URL, said)
    shelf.stock(9, first=30, seed=7)
    again = api("bench").post(URL, said)
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    assert api("bench").post(URL, {**said, "positions": [3]}).status_code == 409


def test_desk_and_machine_do_not_match(api: Api, pack: str) -> None:
    assert api("desk").post(URL, body()).status_code == 403
    assert api("machine").get(URL).status_code == 403


def test_the_stock_is_read_in_so_many_queries(pack: str) -> None:
    shelf.stock(10)
    kind = PackType.objects.get()

    def asked() -> int:
        with CaptureQueriesContext(
            connection,
        ) as seen:
            modules = list(stock.loose(kind, None))
            stock.candidates(modules, at=world.later(days=30))
        return len(seen)

    few = asked()
    shelf.stock(60, first=100)
    assert asked() == few == 7
