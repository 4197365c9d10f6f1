"""teardowns/: what came out, under a lock-out."""

from typing import Any

import pytest
from rest_framework.test import APIClient

from packs.models import HistoryEntry, Teardown
from tests import world
from tests.browser.shop import picture
from tests.packs.api.conftest import Api
from tests.packs.api.test_lock_outs import URL as LOCK_OUTS
from tests.packs.api.test_lock_outs import body as lock_out_body
from tests.packs.api.test_lock_outs import ended, equip, make_tools, opened
from tests.packs.api.test_pack_types import fault

URL = "/api/v1/teardowns/"
RE_ENERGISINGS = "/api/v1/re-energisings/"

BENCH = {
    "switch_after": 3,
    "positions": [
        {"position": 1, "sense_lead": "S1", "sensor": "T1", "clip": "spring"},
        {"position": 2, "orientation": "reversed", "sense_lead": "S2"},
        {"position": 3, "sense_lead": "S3"},
    ],
    "slots": [{"slot": "fuse", "kind": "fuse"}],
    "fasteners": [
        {"kind": "nut", "count": 10, "part": "bus_bar"},
        {"kind": "sleeve", "count": 4, "part": "junction_board", "loose": True},
    ],
    "torques": [{"fastener": "nut", "torque_nm": 5, "paint": True}],
}


@pytest.fixture
def visit(api: Api) -> str:
    """A visit of a pack of six modules, parted 3 and 3 by its switch; nothing is locked out."""
    made = world.pack_type("NM-6", module_count=6, modules_per_block=1, bench=BENCH)
    world.pack(kind=made)
    for code in ("kim", "lee"):
        world.person(code)
    make_tools()
    equip("TRQ-1", "torque_tool")
    return opened(api("desk"))


@pytest.fixture
def locked(api: Api, visit: str) -> str:
    """The same visit, locked out."""
    assert api("bench").post(LOCK_OUTS, lock_out_body(visit)).status_code == 201
    return visit


def body(visit: str, part: str, *places: int, **changes: Any) -> dict[str, Any]:
    said = {"visit": visit, "done_by": "kim", "at": "2024-05-02T10:00:00Z", "part": part}
    return {**said, "places": list(places), **changes}


def take_out(bench: APIClient, visit: str, part: str, *places: int, **changes: Any) -> Any:
    response = bench.post(URL, body(visit, part, *places, **changes))
    assert response.status_code == 201, response.content
    return response.json()


def opening(bench: APIClient, visit: str) -> Any:
    return bench.get(f"/api/v1/visits/{visit}/opening/").json()


def test_what_comes_out_is_kept_with_how_it_lay(api: Api, locked: str) -> None:
    bench = api("bench")
    said = body(
        locked,
        "bus_bar",
        1,
        2,
        fasteners=[{"kind": "nut", "count": 4, "torque_paint": "broken"}],
        seen=[{"position": 2, "orientation": "reversed", "sense_lead": "S2"}],
        note="residue at 2",
    )
    response = bench.post(URL, said)
    assert response.status_code == 201, response.content
    told = response.json()
    assert {name: told[name] for name in ("places", "fasteners", "note")} == {
        name: said[name] for name in ("places", "fasteners", "note")
    }
    assert told["seen"][0]["sense_lead"] == "S2"
    line = HistoryEntry.objects.get(kind="teardown")
    assert line.summary == "Taken out: bus bars after module 1, 2; 4 × nut"
    assert bench.get(f"{URL}{told['id']}/").json() == told
    lies = opening(bench, locked)
    assert lies["joints_open"] == [1, 2, 3]
    assert [row["left"] for row in lies["fasteners"]] == [4, 0]
    assert lies["polarity_missing"] == [1, 2, 3]


def test_each_bus_bar_out_makes_the_largest_piece_smaller(api: Api, locked: str) -> None:
    """Six modules of six cells, 9.6 V each at the highest: halves of 28.8 V, then pieces."""
    bench = api("bench")
    first = take_out(bench, locked, "bus_bar", 1)
    assert (first["pack_side"]["highest_v"], first["pack_side"]["first"]) == (
        pytest.approx(28.8),
        4,
    )
    second = take_out(bench, locked, "bus_bar", 4, at="2024-05-02T10:05:00Z")
    assert second["pack_side"]["highest_v"] == pytest.approx(19.2)


def test_without_a_lock_out_nothing_comes_out(api: Api, visit: str) -> None:
    bench, before = api("bench"), world.contents()
    assert fault(bench.post(URL, body(visit, "cover"))) == (409, "/visit", "no_lock_out")
    assert world.contents() == before
    bench.post(LOCK_OUTS, lock_out_body(visit))
    early = body(visit, "cover", at="2024-05-02T08:00:00Z")
    assert fault(bench.post(URL, early)) == (409, "/at", "before_the_lock_out")
    assert bench.post(RE_ENERGISINGS, ended(visit)).status_code == 201
    late = body(visit, "cover", at="2024-05-02T16:00:00Z")
    assert fault(bench.post(URL, late)) == (409, "/visit", "no_lock_out")


@pytest.mark.parametrize(
    ("changes", "refusal"),
    [
        ({"places": []}, (422, "/places", "places_needed")),
        ({"places": [7]}, (422, "/places/0", "no_such_position")),
        ({"places": [1, 1]}, (422, "/places/1", "named_twice")),
        ({"places": ["1"]}, (400, "/places/0", "not_whole")),
        ({"part": "lid"}, (400, "/part", "not_a_choice")),
        ({"slot": "fuse"}, (422, "/slot", "slot_and_places")),
        ({"part": "other", "places": [], "slot": "horn"}, (422, "/slot", "unknown_slot")),
        (
            {"fasteners": [{"kind": "rivet", "count": 1}]},
            (422, "/fasteners/0/kind", "unknown_fastener"),
        ),
        (
            {"fasteners": [{"kind": "nut", "count": 1}, {"kind": "nut", "count": 1}]},
            (422, "/fasteners/1/kind", "named_twice"),
        ),
        (
            {"fasteners": [{"kind": "nut", "count": 11}]},
            (422, "/fasteners/0/count", "more_than_the_type_has"),
        ),
        ({"seen": [{"position": 9}]}, (422, "/seen/0/position", "no_such_position")),
        ({"photos": ["ph_00000000"]}, (422, "/photos/0", "unknown_photo")),
        ({"done_by": "nobody"}, (422, "/done_by", "unknown_person")),
        ({"at": "2100-01-01T00:00:00Z"}, (422, "/at", "in_the_future")),
    ],
)
def test_what_can_not_come_out_is_refused(
    api: Api, locked: str, changes: dict[str, Any], refusal: tuple[int, str, str]
) -> None:
    bench, before = api("bench"), world.contents()
    assert fault(bench.post(URL, {**body(locked, "bus_bar", 1), **changes})) == refusal
    assert world.contents() == before


def test_who_did_it_is_always_said(api: Api, locked: str) -> None:
    said = body(locked, "cover")
    del said["done_by"]
    assert fault(api("bench").post(URL, said)) == (400, "/done_by", "required")


def test_nothing_is_taken_out_twice(api: Api, locked: str) -> None:
    bench = api("bench")
    take_out(bench, locked, "bus_bar", 1)
    twice = bench.post(URL, body(locked, "bus_bar", 2, 1, at="2024-05-02T10:01:00Z"))
    assert fault(twice) == (409, "/places/1", "out_already")
    earlier = bench.post(URL, body(locked, "bus_bar", 1, at="2024-05-02T09:30:00Z"))
    assert fault(earlier) == (409, "/at", "out_already")
    assert Teardown.objects.count() == 1


def test_a_module_comes_out_after_its_bus_bars(api: Api, locked: str) -> None:
    bench = api("bench")
    take_out(bench, locked, "bus_bar", 1)
    joined = bench.post(URL, body(locked, "module", 2, at="2024-05-02T10:01:00Z"))
    assert fault(joined) == (409, "/places/0", "still_joined")
    assert "after module 2" in joined.json()["errors"][0]["detail"]
    take_out(bench, locked, "module", 1, at="2024-05-02T10:02:00Z")


def test_sent_twice_it_is_out_once_whatever_came_after(api: Api, locked: str) -> None:
    bench, said = api("bench"), body(locked, "cover", external_id="tablet-1")
    first = bench.post(URL, said)
    assert (first.status_code, bench.post(URL, said).status_code) == (201, 200)
    other = bench.post(URL, {**said, "note": "another"})
    assert fault(other) == (409, "/external_id", "external_id_taken")


def test_a_void_puts_it_back_in_account(api: Api, locked: str) -> None:
    bench = api("bench")
    told = take_out(bench, locked, "cover")
    assert opening(bench, locked)["out"] == [{"part": "cover", "place": None, "slot": ""}]
    api("manager").post(f"{URL}{told['id']}/void/", {"reason": "wrong pack"})
    assert opening(bench, locked)["out"] == []


def test_photographs_are_of_the_same_pack(api: Api, locked: str) -> None:
    bench = api("bench")
    world.pack("TP-0002")
    keys = [
        bench.post("/api/v1/photos/", {"pack": pack, "image": picture()}).json()["id"]
        for pack in ("TP-0001", "TP-0002")
    ]
    foreign = bench.post(URL, body(locked, "cover", photos=keys))
    assert fault(foreign) == (422, "/photos/1", "other_pack")
    assert take_out(bench, locked, "cover", photos=keys[:1])["photos"] == keys[:1]


def test_roles_and_filters(api: Api, locked: str) -> None:
    for role in ("desk", "machine"):
        assert api(role).post(URL, body(locked, "cover")).status_code == 403
    bench = api("bench")
    one = take_out(bench, locked, "cover")["id"]
    two = take_out(bench, locked, "bus_bar", 1, at="2024-05-02T10:05:00Z")["id"]

    def found(**asked: Any) -> list[str]:
        return [row["id"] for row in api("desk").get(URL, asked).json()["results"]]

    assert found(visit=locked) == [two, one]
    assert found(part="cover") == [one]
    assert found(since="2024-05-02T10:01:00Z") == [two]
