"""pack-types/: arithmetic held, ratings by version."""

from typing import Any

import pytest

from packs.models import Edit, Pack, PackTypeVersion
from tests import world
from tests.packs.api.conftest import Api

URL = "/api/v1/pack-types/"


def body(**changes: Any) -> dict[str, Any]:
    """28 modules of six cells in 14 blocks."""
    return {
        "code": "NM-14",
        "name": "14 blocks of two",
        "chemistry": "nimh",
        "module_count": 28,
        "cells_per_module": 6,
        "cell_nominal_v": 1.2,
        "max_cell_v": 1.6,
        "modules_per_block": 2,
        "rated_capacity_ah": 6.5,
        "reference_load_a": 50,
        "load_spread_limit_v": 1.2,
        "rest_spread_limit_v": 0.3,
        **changes,
    }


def fault(response: Any) -> tuple[int, str, str]:
    """Status, pointer and code of a refusal with one fault."""
    told = response.json()
    assert response["Content-Type"] == "application/problem+json"
    assert len(told["errors"]) == 1, told
    return response.status_code, told["errors"][0]["pointer"], told["errors"][0]["code"]


def test_a_type_is_stored_with_what_follows_from_it(api: Api) -> None:
    response = api().post(URL, body(nominal_v=201.6))
    assert response.status_code == 201
    told = response.json()
    assert response["Location"] == URL + "NM-14/"
    assert (told["nominal_v"], told["highest_v"]) == (201.6, 268.8)
    assert told["blocks"] == [2] * 14
    assert (told["modules_per_block"], told["block_count"]) == (2, 14)
    assert (told["rest_current_max_a"], told["reference_temperature_c"]) == (5, 25)
    assert (told["cells_in_parallel"], told["monitor_order"], told["limits_source"]) == (
        1,
        None,
        "",
    )
    one = api().get(URL + "NM-14/")
    assert one.json() == told
    assert one["ETag"] == '"1"'
    versions = api().get(URL + "NM-14/versions/").json()["results"]
    assert [(v["number"], v["load_spread_limit_v"]) for v in versions] == [(1, 1.2)]


def test_the_same_again_is_known_and_another_is_a_conflict(api: Api) -> None:
    desk = api()
    first = desk.post(URL, body()).json()
    again = desk.post(URL, body(nominal_v=201.6, cells_in_parallel=1, max_cell_v=1.6))
    assert (again.status_code, again.json()) == (200, first)
    before = world.contents()
    other = desk.post(URL, body(cells_per_module=5))
    assert fault(other) == (409, "/code", "code_taken")
    assert world.contents() == before


def test_a_highest_voltage_is_told_only_where_it_is_known(api: Api) -> None:
    assert api().post(URL, body(max_cell_v=None)).json()["highest_v"] is None


def test_blocks_may_differ(api: Api) -> None:
    told = api().post(URL, body(modules_per_block=None, module_count=5, blocks=[2, 2, 1])).json()
    assert (told["blocks"], told["modules_per_block"], told["block_count"]) == ([2, 2, 1], None, 3)


@pytest.mark.parametrize("nominal_v", [200.6, 202.6])
def test_a_nominal_voltage_within_half_a_per_cent_is_taken(api: Api, nominal_v: float) -> None:
    assert api().post(URL, body(nominal_v=nominal_v)).status_code == 201


def test_a_nominal_voltage_that_disagrees_is_refused_with_both_figures(api: Api) -> None:
    manager, before = api(), world.contents()
    response = manager.post(URL, body(nominal_v=203))
    assert fault(response) == (422, "/nominal_v", "nominal_disagrees")
    detail = response.json()["errors"][0]["detail"]
    assert "203 V" in detail
    assert "201.6 V" in detail
    assert world.contents() == world.contents() == before


@pytest.mark.parametrize(
    ("changes", "pointer", "code"),
    [
        ({"modules_per_block": 3}, "/modules_per_block", "blocks_do_not_add_up"),
        ({"modules_per_block": None, "blocks": [14, 13]}, "/blocks", "blocks_do_not_add_up"),
        ({"modules_per_block": 2, "blocks": [14, 14]}, "/modules_per_block", "blocks_disagree"),
        ({"monitor_order": [1, 2, 3]}, "/monitor_order", "not_an_order"),
        ({"monitor_order": [1] * 14}, "/monitor_order", "not_an_order"),
        ({"monitor_order": [*range(2, 16)]}, "/monitor_order", "not_an_order"),
        ({"max_cell_v": 1.1}, "/max_cell_v", "below_nominal"),
    ],
)
def test_what_contradicts_itself_is_refused(
    api: Api, changes: dict[str, Any], pointer: str, code: str
) -> None:
    manager, before = api(), world.contents()
    assert fault(manager.post(URL, body(**changes))) == (422, pointer, code)
    assert world.contents() == before


@pytest.mark.parametrize("count", [14, 28, 168])
def test_a_monitor_order_is_a_permutation_of_one_level(api: Api, count: int) -> None:
    order = list(range(count, 0, -1))
    response = api().post(URL, body(monitor_order=order))
    assert response.json()["monitor_order"] == order


@pytest.mark.parametrize(
    ("changes", "status", "pointer"),
    [
        ({"chemistry": "lead"}, 400, "/chemistry"),
        ({"module_count": True}, 400, "/module_count"),
        ({"cell_nominal_v": "1.2"}, 400, "/cell_nominal_v"),
        ({"code": "a/b"}, 400, "/code"),
        ({"highest_v": 260}, 400, "/highest_v"),
        ({"module_count": 0}, 422, "/module_count"),
        ({"rated_capacity_ah": -1}, 422, "/rated_capacity_ah"),
        ({"blocks": [0, 28]}, 422, "/blocks/0"),
    ],
)
def test_a_field_out_of_shape_or_range_is_pointed_at(
    api: Api, changes: dict[str, Any], status: int, pointer: str
) -> None:
    manager, before = api(), world.contents()
    assert fault(manager.post(URL, body(**changes)))[:2] == (status, pointer)
    assert world.contents() == before


def test_a_change_of_ratings_is_a_new_version_and_owes_estimates(api: Api) -> None:
    manager = api()
    manager.post(URL, body())
    manager.post("/api/v1/packs/", {"serial": "A1", "pack_type": "NM-14"})
    Pack.objects.update(estimate_due_at=None)
    address = URL + "NM-14/"
    assert manager.patch(address, {"name": "x"}).status_code == 428
    assert manager.patch(address, {"name": "x"}, headers={"If-Match": '"2"'}).status_code == 412
    changes = {"load_spread_limit_v": 0.9, "limits_source": "own tests"}
    response = manager.patch(address, changes, headers={"If-Match": '"1"'})
    assert (response.status_code, response["ETag"]) == (200, '"2"')
    assert response.json()["load_spread_limit_v"] == 0.9
    versions = manager.get(address + "versions/").json()["results"]
    assert [(v["number"], v["load_spread_limit_v"]) for v in versions] == [(2, 0.9), (1, 1.2)]
    assert PackTypeVersion.objects.get(number=1).limits_source == ""
    assert Edit.objects.get(kind="pack_type").changes["load_spread_limit_v"] == [1.2, 0.9]
    assert Pack.objects.get().estimate_due_at is not None


def test_what_a_pack_is_made_of_never_changes(api: Api) -> None:
    manager = api()
    manager.post(URL, body())
    response = manager.patch(URL + "NM-14/", {"module_count": 30}, headers={"If-Match": '"1"'})
    assert fault(response) == (400, "/module_count", "unknown_field")
    wrong = manager.patch(URL + "NM-14/", {"max_cell_v": 1.0}, headers={"If-Match": '"1"'})
    assert fault(wrong) == (422, "/max_cell_v", "below_nominal")
    assert PackTypeVersion.objects.count() == 1


@pytest.mark.parametrize("role", ["desk", "bench", "machine"])
def test_only_the_manager_writes_and_everybody_reads(api: Api, role: str) -> None:
    world.pack_type()
    before = world.contents()
    client = api(role)
    before = world.contents()
    assert client.get(URL).status_code == 200
    assert client.get(URL + "NM-28/versions/").status_code == 200
    assert client.post(URL, body()).status_code == 403
    assert client.patch(URL + "NM-28/", {"name": "x"}).status_code == 403
    assert world.contents() == before


def test_lists_are_filtered_ordered_and_paged(api: Api) -> None:
    for number in range(3):
        world.pack_type(f"T-{number}")
    world.pack_type("LI-1", chemistry="li_ion", cell_nominal_v=3.7)
    manager = api()
    codes = [row["code"] for row in manager.get(URL, {"chemistry": "nimh"}).json()["results"]]
    assert codes == ["T-0", "T-1", "T-2"]
    page = manager.get(URL, {"ordering": "-code", "page_size": "3"}).json()
    assert [row["code"] for row in page["results"]] == ["T-2", "T-1", "T-0"]
    assert [row["code"] for row in manager.get(page["next"]).json()["results"]] == ["LI-1"]
    assert manager.get(URL, {"ordering": "name"}).status_code == 400
    assert manager.get(URL, {"colour": "red"}).status_code == 400
    assert manager.get(URL + "none/").status_code == 404
    assert manager.get(URL + "none/versions/").status_code == 404


def layout(**changes: Any) -> dict[str, Any]:
    """What a made-up type of four modules says for the bench."""
    return {
        "switch_after": 2,
        "second_person": True,
        "positions": [
            {"position": 2, "orientation": "reversed"},
            {"position": 1, "sense_lead": "S1", "sensor": "T1", "clip": "spring"},
        ],
        "slots": [{"slot": "fuse", "kind": "fuse", "ratings": {"rated_v": 450, "form": "round"}}],
        "fasteners": [
            {"kind": "nut", "count": 6, "part": "bus_bar"},
            {"kind": "sleeve", "count": 4, "part": "junction_board", "loose": True},
        ],
        "torques": [{"fastener": "nut", "torque_nm": 5.5, "order": "crosswise", "paint": True}],
        "waits": {"discharge_min": 10},
        "pass_marks": {"capacity_ah": 5.2},
        "protocol": {"charge_a": 3.2, "cycles": 4},
        "bus": {"capacitance_uf": 1500},
        "stock_minimum": {"module": 4, "fuse": 1},
        **changes,
    }


def small(**changes: Any) -> dict[str, Any]:
    return body(code="NM-4", module_count=4, modules_per_block=1, **changes)


def test_a_type_says_what_the_bench_needs(api: Api) -> None:
    manager = api()
    told = manager.post(URL, small(**layout())).json()
    seat = {"orientation": "normal", "sense_lead": "", "clip": "", "sensor": ""}
    assert told["positions"] == [
        {**seat, "position": 1, "sense_lead": "S1", "sensor": "T1", "clip": "spring"},
        {**seat, "position": 2, "orientation": "reversed"},
    ]
    assert (told["switch_after"], told["second_person"]) == (2, True)
    assert told["slots"] == layout()["slots"]
    assert [row["loose"] for row in told["fasteners"]] == [False, True]
    assert told["torques"] == layout()["torques"]
    assert told["waits"] == {"discharge_min": 10, "rest_min": 0}
    assert told["pass_marks"]["settled_pct"] == 3
    assert (told["protocol"]["cycles"], told["protocol"]["cut_off_cell_v"]) == (4, 1)
    assert told["stock_minimum"] == {"module": 4, "fuse": 1}
    answered = {name: told[name] for name in layout()}
    again = manager.post(URL, small(**answered))
    assert (again.status_code, again.json()) == (200, told)


def test_a_type_that_says_nothing_is_the_type_it_was(api: Api) -> None:
    first = api().post(URL, body()).json()
    silent: dict[str, Any] = {
        "switch_after": None,
        "positions": [],
        "waits": {},
        "second_person": False,
    }
    again = api().post(URL, body(**silent))
    assert (again.status_code, again.json()) == (200, first)
    assert (first["switch_after"], first["positions"], first["stock_minimum"]) == (None, [], {})


def test_a_layout_changes_by_version(api: Api) -> None:
    manager = api()
    manager.post(URL, small(**layout()))
    change = {"torques": [{"fastener": "nut", "torque_nm": 6}], "switch_after": None}
    told = manager.patch(URL + "NM-4/", change, headers={"If-Match": '"1"'}).json()
    assert told["torques"] == [{"fastener": "nut", "torque_nm": 6, "order": "", "paint": False}]
    assert (told["switch_after"], told["waits"]["discharge_min"]) == (None, 10)
    versions = manager.get(URL + "NM-4/versions/").json()["results"]
    assert [row["torques"][0]["torque_nm"] for row in versions] == [6, 5.5]


@pytest.mark.parametrize(
    ("changes", "refusal"),
    [
        ({"switch_after": 4}, (422, "/switch_after", "outside_the_string")),
        ({"switch_after": 0}, (422, "/switch_after", "min_value")),
        ({"switch_after": "2"}, (400, "/switch_after", "not_whole")),
        ({"second_person": 1}, (400, "/second_person", "not_a_boolean")),
        ({"positions": [{"position": 5}]}, (422, "/positions/0/position", "no_such_position")),
        (
            {"positions": [{"position": 1}, {"position": 1}]},
            (422, "/positions/1/position", "named_twice"),
        ),
        (
            {"positions": [{"position": 1, "orientation": "upside"}]},
            (400, "/positions/0/orientation", "not_a_choice"),
        ),
        ({"positions": {"1": {}}}, (400, "/positions", "not_a_list")),
        ({"slots": [{"slot": "fuse", "kind": "lamp"}]}, (422, "/slots/0/kind", "unknown_kind")),
        (
            {"slots": [{"slot": "f", "kind": "fuse", "ratings": {"rated_v": None}}]},
            (400, "/slots/0/ratings/rated_v", "not_a_rating"),
        ),
        (
            {"torques": [{"fastener": "bolt", "torque_nm": 5}]},
            (422, "/torques/0/fastener", "fastener_not_listed"),
        ),
        (
            {"torques": [{"fastener": "nut", "torque_nm": 0}]},
            (422, "/torques/0/torque_nm", "min_value"),
        ),
        (
            {"fasteners": [{"kind": "nut", "count": 2}, {"kind": "nut", "count": 1}]},
            (422, "/fasteners/1/kind", "named_twice"),
        ),
        ({"stock_minimum": {"lamp": 1}}, (422, "/stock_minimum/lamp", "unknown_kind")),
        ({"stock_minimum": {"module": 1.5}}, (400, "/stock_minimum/module", "not_whole")),
        ({"waits": {"discharge_h": 1}}, (400, "/waits/discharge_h", "unknown_field")),
    ],
)
def test_a_layout_that_contradicts_is_refused(
    api: Api, changes: dict[str, Any], refusal: tuple[int, str, str]
) -> None:
    manager, before = api(), world.contents()
    assert fault(manager.post(URL, small(**layout(**changes)))) == refusal
    assert world.contents() == before
