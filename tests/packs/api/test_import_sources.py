"""import-sources/: how testers name their columns."""

from typing import Any

import pytest

from tests import world
from tests.packs.api.conftest import Api
from tests.packs.api.test_pack_types import fault

URL = "/api/v1/import-sources/"
BODY = {
    "code": "bench-3",
    "name": "Tester at bench 3",
    "columns": {"pack": "Serial", "taken_at": "Time", "voltages_v": ["U1", "U2", "U3"]},
    "settings": {"level": "by_count", "condition": "rest", "current_a": 0, "dates": "day_month"},
}


def test_a_source_is_stored_under_a_code(api: Api) -> None:
    response = api("bench").post(URL, BODY)
    assert (response.status_code, response["Location"]) == (201, URL + "bench-3/")
    told = response.json()
    assert {name: told[name] for name in BODY} == BODY
    assert api("desk").get(URL + "bench-3/").json() == told
    assert api("desk").get(URL).json()["results"] == [told]


def test_the_same_again_is_known_and_another_is_a_conflict(api: Api) -> None:
    bench = api("bench")
    first = bench.post(URL, BODY).json()
    again = bench.post(URL, BODY)
    assert (again.status_code, again.json()) == (200, first)
    before = world.contents()
    other = bench.post(URL, {**BODY, "settings": None})
    assert fault(other) == (409, "/code", "code_taken")
    assert world.contents() == before


@pytest.mark.parametrize(
    ("changes", "refusal"),
    [
        ({"columns": None}, (400, "/columns", "null")),
        ({"columns": ["V1"]}, (400, "/columns", "not_an_object")),
        ({"columns": {"colour": "x"}}, (400, "/columns/colour", "unknown_field")),
        ({"columns": {"pack": 7}}, (400, "/columns/pack", "not_a_text")),
        ({"columns": {"pack": "x" * 200_000}}, (422, "/columns", "out_of_range")),
        ({"settings": {"unit": "kv"}}, (400, "/settings/unit", "not_a_choice")),
        ({"settings": {"weather": "x"}}, (400, "/settings/weather", "unknown_field")),
        ({"maker": "x"}, (400, "/maker", "unknown_field")),
    ],
)
def test_what_is_wrong_is_pointed_at(
    api: Api, changes: dict[str, Any], refusal: tuple[int, str, str]
) -> None:
    bench, before = api("bench"), world.contents()
    assert fault(bench.post(URL, {**BODY, **changes})) == refusal
    assert world.contents() == before


def test_a_change_needs_the_version(api: Api) -> None:
    bench, address = api("bench"), URL + "bench-3/"
    bench.post(URL, BODY)
    assert bench.patch(address, {"settings": None}).status_code == 428
    changes = {"columns": {"pack": "Akku", "voltages_v": "U#"}, "settings": None}
    changed = bench.patch(address, changes, headers={"If-Match": '"1"'})
    assert (changed.status_code, changed["ETag"]) == (200, '"2"')
    assert changed.json()["columns"] == changes["columns"]
    assert changed.json()["settings"] == {}
    assert bench.patch(address, changes, headers={"If-Match": '"1"'}).status_code == 412


@pytest.mark.parametrize(("role", "reads"), [("desk", 200), ("machine", 403)])
def test_only_the_workshop_writes(api: Api, role: str, reads: int) -> None:
    client, before = api(role), world.contents()
    assert client.get(URL).status_code == reads
    assert client.post(URL, BODY).status_code == 403
    assert client.patch(URL + "x/", {}).status_code == 403
    assert world.contents() == before
