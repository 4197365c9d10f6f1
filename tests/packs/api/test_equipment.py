"""equipment/: what is measured with, when it is due, and what it touched."""

from typing import Any

import pytest

from tests import world
from tests.packs.api.conftest import Api
from tests.packs.api.test_pack_types import fault

URL = "/api/v1/equipment/"
BODY = {
    "code": "DMM-1",
    "kind": "meter",
    "serial": "S1",
    "rating": "1000 V CAT III",
    "checked_on": "2024-01-10",
    "due_on": "2025-01-10",
}


def test_a_piece_is_stored_under_a_code(api: Api) -> None:
    response = api("bench").post(URL, BODY)
    assert (response.status_code, response["Location"]) == (201, URL + "DMM-1/")
    told = response.json()
    assert {name: told[name] for name in BODY} == BODY
    assert api("desk").get(URL + "DMM-1/").json() == told


def test_the_same_again_is_known_and_another_is_a_conflict(api: Api) -> None:
    bench = api("bench")
    first = bench.post(URL, {"code": "G-1", "kind": "gloves"}).json()
    again = bench.post(URL, {"code": "G-1", "kind": "gloves", "serial": None, "rating": ""})
    assert (again.status_code, again.json()) == (200, first)
    before = world.contents()
    other = bench.post(URL, {"code": "G-1", "kind": "tester"})
    assert fault(other) == (409, "/code", "code_taken")
    assert world.contents() == before


@pytest.mark.parametrize(
    ("changes", "refusal"),
    [
        ({"kind": "hammer"}, (400, "/kind", "not_a_choice")),
        ({"due_on": "2024-01-09"}, (422, "/due_on", "due_before_checked")),
        ({"checked_on": "2100-01-01"}, (422, "/checked_on", "in_the_future")),
        ({"owner": "kim"}, (400, "/owner", "unknown_field")),
    ],
)
def test_what_is_wrong_is_pointed_at(
    api: Api, changes: dict[str, Any], refusal: tuple[int, str, str]
) -> None:
    bench, before = api("bench"), world.contents()
    assert fault(bench.post(URL, {**BODY, **changes})) == refusal
    assert world.contents() == before


def test_a_change_needs_the_version(api: Api) -> None:
    bench, address = api("bench"), URL + "DMM-1/"
    bench.post(URL, BODY)
    assert bench.patch(address, {"rating": None}).status_code == 428
    assert bench.patch(address, {"rating": None}, headers={"If-Match": '"5"'}).status_code == 412
    early = bench.patch(address, {"due_on": "2023-01-01"}, headers={"If-Match": '"1"'})
    assert fault(early) == (422, "/due_on", "due_before_checked")
    changes = {"rating": None, "due_on": "2026-01-10"}
    changed = bench.patch(address, changes, headers={"If-Match": '"1"'})
    assert (changed.status_code, changed["ETag"]) == (200, '"2"')
    assert (changed.json()["rating"], changed.json()["due_on"]) == ("", "2026-01-10")


def test_what_a_bad_piece_touched_is_listed(api: Api) -> None:
    bench = api("bench")
    for code in ("DMM-1", "DMM-2"):
        bench.post(URL, {**BODY, "code": code})
    pack = world.pack()
    for day, tool in ((1, "DMM-1"), (2, "DMM-2"), (3, "DMM-1"), (4, None)):
        world.check(pack, taken_at=world.later(days=day), equipment=tool)
    touched = URL + "DMM-1/touched/"
    told = bench.get(touched).json()["results"]
    assert [row["taken_at"][:10] for row in told] == ["2024-03-04", "2024-03-02"]
    assert {(row["equipment"], row["pack"]) for row in told} == {("DMM-1", "TP-0001")}
    since = world.later(days=2).isoformat()
    assert len(bench.get(touched, {"taken_since": since}).json()["results"]) == 1
    assert bench.get(URL + "none/touched/").status_code == 404
    assert bench.post(touched, {}).status_code == 405


@pytest.mark.parametrize(("role", "reads"), [("desk", 200), ("machine", 403)])
def test_only_the_workshop_writes(api: Api, role: str, reads: int) -> None:
    api("bench").post(URL, BODY)
    client = api(role)
    before = world.contents()
    assert client.get(URL).status_code == reads
    assert client.get(URL + "DMM-1/touched/").status_code == reads
    assert client.post(URL, {**BODY, "code": "X"}).status_code == 403
    assert client.patch(URL + "DMM-1/", {"rating": "x"}).status_code == 403
    assert world.contents() == before


def test_lists_are_filtered(api: Api) -> None:
    bench = api("bench")
    bench.post(URL, BODY)
    bench.post(URL, {"code": "G-1", "kind": "gloves", "due_on": "2024-06-01"})

    def codes(**asked: Any) -> list[str]:
        return [row["code"] for row in bench.get(URL, asked).json()["results"]]

    assert codes() == ["DMM-1", "G-1"]
    assert codes(kind="meter") == ["DMM-1"]
    assert codes(due_until="2024-12-31") == ["G-1"]
