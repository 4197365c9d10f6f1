"""packs/{serial}/repair-options/: repairs side by side."""

from typing import Any

import pytest
from rest_framework.test import APIClient

from packs.models import Pack
from tests import world
from tests.packs import shelf
from tests.packs.api.conftest import Api
from tests.reports import ageing

MARKS = {"capacity_ah": 5.0, "resistance_mohm": 32.0, "stand_mv_per_day": 14.0}
LIST = [
    {"code": "hour", "what": "An hour", "kind": "hour", "price": 72},
    {"code": "module", "what": "Module", "kind": "module", "price": 58, "hours": 4.5},
    {
        "code": "fuse",
        "what": "Fuse",
        "kind": "component",
        "component_kind": "fuse",
        "price": 20,
        "hours": 1,
    },
    {"code": "rebuild", "what": "Rebuild", "kind": "rebuild", "price": 1400, "hours": 9},
    {"code": "exchange", "what": "Exchange pack", "kind": "replacement", "price": 2100, "hours": 3},
]


@pytest.fixture
def pack(db: None) -> Pack:
    return ageing.drifting_pack("TP-0001", world.pack_type(bench={"pass_marks": MARKS}))


@pytest.fixture
def priced(api: Api) -> APIClient:
    manager = api("manager")
    for line in LIST:
        assert manager.post("/api/v1/prices/", line).status_code == 201
    return manager


def options(client: APIClient, **asked: Any) -> dict[str, Any]:
    response = client.get("/api/v1/packs/TP-0001/repair-options/", asked)
    assert response.status_code == 200, response.content
    told: dict[str, Any] = response.json()
    return {**told, "by_kind": {row["kind"]: row for row in told["options"]}}


def test_nothing_done_is_the_outlook_as_it_is(api: Api, pack: Pack) -> None:
    told = options(api("bench"))
    outlook = api("bench").get("/api/v1/packs/TP-0001/outlook/").json()
    as_it_is, part = told["by_kind"]["as_it_is"], told["by_kind"]["component"]
    assert as_it_is["failure_probability"] == outlook["failure_probability"]
    assert part["failure_probability"] == outlook["failure_probability"]
    assert told["as_of"] == outlook["as_of"]
    assert as_it_is["within_warranty"] == pytest.approx(
        outlook["failure_probability"]["365"], rel=0.01
    )


def test_the_weakest_position_is_proposed_with_modules_of_the_stock(api: Api, pack: Pack) -> None:
    shelf.stock(12)
    told = options(api("bench"))
    assert told["positions"] == [13, 14]
    modules = told["by_kind"]["modules"]
    assert len(set(modules["modules"])) == 2
    assert (
        modules["failure_probability"]["365"]
        < told["by_kind"]["as_it_is"]["failure_probability"]["365"]
    )
    assert modules["older_checks"] == 6
    assert any("Nobody measured the modules that stay" in risk for risk in modules["risks"])
    assert [row["kind"] for row in told["options"]] == [
        "as_it_is",
        "component",
        "modules",
        "rebuild",
        "replacement",
    ]
    assert told["by_kind"]["rebuild"]["risks"] == [
        "The stock holds 12 loose modules of its cells; a rebuild takes 28."
    ]


def test_prices_are_those_of_the_list(api: Api, pack: Pack, priced: APIClient) -> None:
    told = options(priced, positions="13,14", component="fuse")["by_kind"]
    assert (told["modules"]["parts"], told["modules"]["labour"], told["modules"]["price"]) == (
        116.0,
        324.0,
        440.0,
    )
    assert (told["component"]["price"], told["rebuild"]["price"], told["replacement"]["price"]) == (
        92.0,
        2048.0,
        2316.0,
    )
    for row in told.values():
        assert row["return_cost"] == 2048.0
        total = row["price"] + 2048 * row["within_warranty"]
        assert row["expected_cost"] == pytest.approx(total, abs=0.006)
    own = options(priced, positions="13,14", return_cost=1000)["by_kind"]["modules"]
    assert own["expected_cost"] == pytest.approx(440 + 1000 * own["within_warranty"], abs=0.006)


def test_what_the_list_lacks_is_said(api: Api, pack: Pack) -> None:
    told = options(api("desk"))["by_kind"]
    assert told["modules"]["expected_cost"] is None
    assert told["modules"]["missing"] == "The price list has no line for it."
    assert told["component"]["missing"] == "Name the part to see its price."


def test_a_longer_warranty_is_dearer(api: Api, pack: Pack, priced: APIClient) -> None:
    one, two = (options(priced, months=months)["by_kind"] for months in (12, 24))
    for kind in ("component", "modules", "rebuild", "replacement"):
        assert two[kind]["within_warranty"] > one[kind]["within_warranty"]


def test_strong_modules_in_a_tired_pack_are_told(api: Api, pack: Pack) -> None:
    tired = [world.module(f"T-{place}") for place in range(1, 5)]
    for module in tired:
        shelf.record_tests(module, capacity_ah=4.6, resistance_mohm=28.0)
    changes = [
        {"position": place, "removed": None, "fitted": module.tag, "reason": "known"}
        for place, module in enumerate(tired, 1)
    ]
    swap = {
        "pack": "TP-0001",
        "kind": "module",
        "done_at": world.later(days=950).isoformat(),
        "changes": changes,
    }
    assert api("bench").post("/api/v1/swaps/", swap).status_code == 201
    for place in (13, 14):
        shelf.record_tests(world.module(f"N-{place}"), capacity_ah=6.4, resistance_mohm=19.0)
    told = options(api("bench"), positions="13,14", modules="N-13,N-14")["by_kind"]["modules"]
    assert told["modules"] == ["N-13", "N-14"]
    assert told["risks"][0].startswith("Strong modules in a tired pack: 6.4 Ah beside 4.6 Ah.")


def test_thin_data_are_told(api: Api, pack: Pack) -> None:
    told = options(api("bench"))["thin"]
    assert "The fit has seen no pack of this type checked like this; it goes by the fleet." in told
    assert "Few repairs that begin a build are recorded of this type: 0." in told


def test_what_is_asked_is_looked_at(api: Api, pack: Pack) -> None:
    def refused(**asked: Any) -> tuple[int, str]:
        response = api("bench").get("/api/v1/packs/TP-0001/repair-options/", asked)
        return response.status_code, response.json()["errors"][0]["code"]

    assert refused(positions="29") == (422, "no_such_position")
    assert refused(positions="seven") == (400, "not_whole")
    assert refused(positions="7,8", modules="M-1") == (422, "wrong_count")
    assert refused(months=0)[0] == 422
    assert api("machine").get("/api/v1/packs/TP-0001/repair-options/").status_code == 403
    assert api("bench").get("/api/v1/packs/none/repair-options/").status_code == 404
