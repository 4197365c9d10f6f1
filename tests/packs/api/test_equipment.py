"""equipment/: what is measured with, when it is due, and what it touched."""

from typing import Any

import pytest

from packs.models import Equipment, LockOut, Reassembly, Visit
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


def visit_of(api: Api) -> str:
    said = {"pack": "TP-0001", "opened_at": world.later(1).isoformat()}
    told: str = api("desk").post("/api/v1/visits/", said).json()["id"]
    return told


def test_other_records_that_name_it_stand_among_the_checks(api: Api) -> None:
    bench = api("bench")
    bench.post(URL, BODY)
    pack = world.pack()
    visit = visit_of(api)
    for day in (2, 4):
        world.check(pack, taken_at=world.later(days=day), equipment="DMM-1")
    told = {
        "scope": "pack_alone",
        "method": "tester",
        "pack_v": 200,
        "test_v": 500,
        "isolation_ohm": 1e6,
    }
    isolation = {"visit": visit, **told, "equipment": "DMM-1", "at": world.later(3).isoformat()}
    made = bench.post("/api/v1/isolation-checks/", isolation).json()
    test = {"pack": "TP-0001", "slot": "fuse:1", "measured": {"rated_a": 80}, "equipment": "DMM-1"}
    bench.post("/api/v1/part-tests/", {**test, "at": world.later(2).isoformat()})
    Reassembly.objects.create(
        visit=Visit.objects.get(), happened_at=world.later(5), lock_out=lock_out(), kind="fitted", part="bus_bar", starts_build=True,
        fasteners=[{"kind": "bolt", "count": 2, "tool": "DMM-1"}], pack=pack, revision=99, **world.posted(b"-"),
    )  # fmt: skip
    touched = URL + "DMM-1/touched/"
    rows = bench.get(touched).json()["results"]
    assert [row["kind"] for row in rows] == [
        "reassembly", "voltage_check", "isolation_check", "part_test", "voltage_check",
    ]  # fmt: skip
    assert rows[2]["link"] == f"/api/v1/isolation-checks/{made['id']}/"
    assert (rows[2]["at"][:10], rows[2]["pack"]) == ("2024-03-04", "TP-0001")
    assert rows[0]["link"].startswith("/api/v1/reassemblies/")

    def kinds(**asked: Any) -> list[str]:
        return [row["kind"] for row in bench.get(touched, asked).json()["results"]]

    assert kinds(kind="part_test") == ["part_test"]
    assert kinds(level="module") == ["voltage_check"] * 2
    assert kinds(since=world.later(4.5).isoformat()) == ["reassembly"]
    assert kinds(ordering="at") == list(reversed(kinds()))
    assert bench.get(touched, {"ordering": "spread"}).status_code == 400
    assert bench.get(touched, {"cursor": "x"}).status_code == 400


def lock_out() -> LockOut:
    gloves = Equipment.objects.create(code="G-9", kind="gloves", **world.posted(b"g"))
    return LockOut.objects.create(
        visit=Visit.objects.get(), happened_at=world.later(1), waited_min=5, source_before_v=9, source_after_v=9,
        meter=gloves, gloves=gloves, switch_kept_by=world.person(), touch_limit_v=50, highest_v=100,
        pack=Visit.objects.get().pack, revision=98, **world.posted(b"-"),
    )  # fmt: skip


@pytest.mark.parametrize("ordering", ["-at", "at"])
def test_pages_of_them_meet_each_once_both_ways(api: Api, ordering: str) -> None:
    bench = api("bench")
    bench.post(URL, BODY)
    pack = world.pack()
    test = {"pack": "TP-0001", "slot": "fuse:1", "measured": {"rated_a": 80}, "equipment": "DMM-1"}
    for day in (2, 2.5, 3):
        world.check(pack, taken_at=world.later(days=day), equipment="DMM-1")
        bench.post("/api/v1/part-tests/", {**test, "at": world.later(day).isoformat()})
    touched = URL + "DMM-1/touched/"
    whole = [row["id"] for row in bench.get(touched, {"ordering": ordering}).json()["results"]]
    assert len(set(whole)) == 6
    page = bench.get(touched, {"ordering": ordering, "page_size": "2"}).json()
    assert page["previous"] is None
    met = [page]
    while met[-1]["next"]:
        met.append(bench.get(met[-1]["next"]).json())
    assert [row["id"] for page in met for row in page["results"]] == whole
    back = bench.get(met[-1]["previous"]).json()
    assert back["results"] == met[-2]["results"]


def test_gloves_are_issued_and_a_piece_goes_bad(api: Api) -> None:
    bench = api("bench")
    told = bench.post(URL, {**BODY, "issued_on": "2024-02-01"}).json()
    assert (told["issued_on"], told["bad_since"]) == ("2024-02-01", None)
    address, version = URL + "DMM-1/", {"If-Match": '"1"'}
    ahead = bench.patch(address, {"bad_since": "2100-01-01"}, headers=version)
    assert fault(ahead) == (422, "/bad_since", "in_the_future")
    assert (
        bench.patch(address, {"bad_since": "2024-03-03"}, headers=version).json()["bad_since"]
        == "2024-03-03"
    )
    pack = world.pack()
    world.check(pack, taken_at=world.later(days=4), equipment="DMM-1")
    world.check(pack, taken_at=world.later(days=1), equipment="DMM-1")
    warned = [row["warnings"] for row in bench.get(URL + "DMM-1/touched/").json()["results"]]
    assert [len(warnings) for warnings in warned] == [1, 0]
    assert "known to be bad since 2024-03-03" in warned[0][0]
    assert [row["code"] for row in bench.get(URL, {"bad": "true"}).json()["results"]] == ["DMM-1"]
    assert bench.get(URL, {"bad": "false"}).json()["results"] == []


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
