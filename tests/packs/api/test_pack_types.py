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
