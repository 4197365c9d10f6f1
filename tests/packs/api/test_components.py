"""components/: parts by their tags, and where each sat as the swaps tell it."""

from typing import Any

import pytest

from packs.models import Component, Edit
from tests import world
from tests.packs.api.conftest import Api
from tests.packs.api.test_pack_types import fault
from tests.world import later

URL = "/api/v1/components/"
SWAPS = "/api/v1/swaps/"


@pytest.fixture(autouse=True)
def packs(db: None) -> None:
    world.pack()
    world.pack("TP-0002")


def part(api: Api, tag: str = "C-1", kind: str = "main_contactor", **more: Any) -> Any:
    answer = api("bench").post(URL, {"tag": tag, "kind": kind, **more})
    assert answer.status_code == 201, answer.json()
    return answer.json()


def swap(
    slot: str = "main_contactor:plus",
    removed: str | None = None,
    fitted: str | None = None,
    *,
    day: float = 10,
    pack: str = "TP-0001",
    **more: Any,
) -> dict[str, Any]:
    change = {"slot": slot, "removed": removed, "fitted": fitted, "reason": "worn"}
    said = {"pack": pack, "done_at": later(day).isoformat(), "kind": "component"}
    return {**said, "changes": [change], **more}


def instant(day: float) -> str:
    return later(day).isoformat().replace("+00:00", "Z")


def test_a_part_is_stored_under_its_tag(api: Api) -> None:
    told = part(
        api, ratings={"rated_v": 450, "coil_ohm": 28}, part_number="P-9", donor_pack="tp-0002"
    )
    assert (told["status"], told["pack"], told["intervals"]) == ("stock", None, [])
    assert (told["ratings"], told["donor_pack"]) == ({"rated_v": 450, "coil_ohm": 28}, "TP-0002")
    assert api("desk").get(f"{URL}C-1/").json() == told
    again = api("bench").post(URL, {"tag": "C-1", "kind": "main_contactor"})
    assert fault(again) == (409, "/tag", "tag_taken")


def test_where_it_sat_follows_from_the_swaps(api: Api) -> None:
    part(api), part(api, "C-2")
    bench = api("bench")
    first = bench.post(SWAPS, swap(fitted="C-1"))
    assert first.status_code == 201
    told = bench.get(f"{URL}C-1/").json()
    assert (told["status"], told["pack"], told["slot"]) == (
        "fitted",
        "TP-0001",
        "main_contactor:plus",
    )
    bench.post(SWAPS, swap(removed="C-1", fitted="C-2", day=20))
    bench.post(SWAPS, swap("main_contactor:minus", fitted="C-1", day=30, pack="TP-0002"))
    told = bench.get(f"{URL}C-1/").json()
    assert told["intervals"] == [
        {
            "pack": "TP-0001",
            "slot": "main_contactor:plus",
            "fitted_at": instant(10),
            "removed_at": instant(20),
        },
        {
            "pack": "TP-0002",
            "slot": "main_contactor:minus",
            "fitted_at": instant(30),
            "removed_at": None,
        },
    ]
    assert told["status"] == "fitted"
    assert Edit.objects.filter(kind="component", key="C-1").count() == 3
    listed = bench.get(URL, {"pack": "tp-0001"}).json()["results"]
    assert [(row["tag"], row["slot"]) for row in listed] == [("C-2", "main_contactor:plus")]


def test_a_void_takes_it_out_again(api: Api) -> None:
    part(api)
    stored = api("bench").post(SWAPS, swap(fitted="C-1")).json()
    api("manager").post(f"{SWAPS}{stored['id']}/void/", {"reason": "wrong car"})
    told = api("bench").get(f"{URL}C-1/").json()
    assert (told["status"], told["intervals"]) == ("stock", [])


def test_one_taken_out_without_a_word_is_in_stock_again(api: Api) -> None:
    part(api)
    api("bench").post(SWAPS, swap(fitted="C-1"))
    api("bench").post(SWAPS, swap(day=12))
    assert api("bench").get(f"{URL}C-1/").json()["status"] == "stock"


def test_changed_from_slot_to_slot_in_one_swap(api: Api) -> None:
    part(api), part(api, "C-2")
    changes = [
        {"slot": "main_contactor:plus", "fitted": "C-1"},
        {"slot": "main_contactor:minus", "fitted": "C-2"},
    ]
    assert api("bench").post(SWAPS, swap(changes=changes)).status_code == 201
    crossed = [
        {"slot": "main_contactor:plus", "removed": "C-1", "fitted": "C-2"},
        {"slot": "main_contactor:minus", "removed": "C-2", "fitted": "C-1"},
    ]
    assert api("bench").post(SWAPS, swap(changes=crossed, day=11)).status_code == 201
    assert api("bench").get(f"{URL}C-1/").json()["slot"] == "main_contactor:minus"


def test_a_part_is_in_one_place_at_a_time(api: Api) -> None:
    part(api)
    bench = api("bench")
    bench.post(SWAPS, swap(fitted="C-1"))
    before = world.contents()
    twice = bench.post(SWAPS, swap(fitted="C-1", day=15, pack="TP-0002"))
    assert fault(twice) == (409, "/changes/0/fitted", "component_elsewhere")
    earlier = bench.post(SWAPS, swap(fitted="C-1", day=5, pack="TP-0002"))
    assert fault(earlier) == (409, "/changes/0/fitted", "component_elsewhere")
    gone = bench.post(SWAPS, swap(removed="C-1", day=12, pack="TP-0002"))
    assert fault(gone) == (409, "/changes/0/removed", "component_elsewhere")
    assert world.contents() == before


def test_the_register_knows_who_sat_there(api: Api) -> None:
    part(api), part(api, "C-2")
    bench = api("bench")
    bench.post(SWAPS, swap(fitted="C-1"))
    other = bench.post(SWAPS, swap(removed="C-2", day=20))
    assert fault(other) == (409, "/changes/0/removed", "another_part_there")
    unrecorded = bench.post(SWAPS, swap(removed="old one", day=20))
    assert fault(unrecorded) == (409, "/changes/0/removed", "another_part_there")


def test_parts_that_nobody_recorded_are_named_freely(api: Api) -> None:
    bench = api("bench")
    assert bench.post(SWAPS, swap(fitted="any")).status_code == 201
    assert bench.post(SWAPS, swap(removed="other", day=11)).status_code == 201
    assert bench.post(SWAPS, swap(fitted="any", day=12, pack="TP-0002")).status_code == 201


def test_the_slot_takes_its_kind(api: Api) -> None:
    part(api, kind="fuse")
    answer = api("bench").post(SWAPS, swap(fitted="C-1"))
    assert fault(answer) == (409, "/changes/0/fitted", "wrong_kind")


@pytest.mark.parametrize("status", ["quarantined", "scrapped"])
def test_what_is_barred_stays_out(api: Api, status: str) -> None:
    part(api, status=status, status_reason="welded")
    answer = api("bench").post(SWAPS, swap(fitted="C-1"))
    assert fault(answer) == (409, "/changes/0/fitted", f"component_{status}")


def test_one_recorded_late_finds_its_place(api: Api) -> None:
    api("bench").post(SWAPS, swap(fitted="C-1"))
    told = part(api)
    assert (told["status"], told["pack"], len(told["intervals"])) == ("fitted", "TP-0001", 1)
    wrong = api("bench").post(SWAPS, swap(fitted="F-1", day=11, pack="TP-0002"))
    assert wrong.status_code == 201
    assert fault(api("bench").post(URL, {"tag": "F-1", "kind": "fuse"})) == (409, "", "wrong_kind")
    assert not Component.objects.filter(tag="F-1").exists()


def changed(api: Api, version: int, **changes: Any) -> Any:
    return api("bench").patch(f"{URL}C-1/", changes, headers={"If-Match": f'"{version}"'})


def test_a_state_is_changed_while_it_is_loose(api: Api) -> None:
    part(api)
    assert fault(changed(api, 1, status="quarantined")) == (422, "/status_reason", "reason_needed")
    assert fault(changed(api, 1, status="fitted")) == (409, "/status", "fitted_by_a_swap")
    told = changed(api, 1, status="quarantined", status_reason="hot").json()
    assert (told["status"], told["status_reason"], told["version"]) == ("quarantined", "hot", 2)
    told = changed(api, 2, status="stock", ratings={"rated_v": 400}, part_number="P-1").json()
    assert (told["status"], told["status_reason"], told["ratings"]) == (
        "stock",
        "",
        {"rated_v": 400},
    )
    api("bench").post(SWAPS, swap(fitted="C-1"))
    assert fault(changed(api, 4, status="stock")) == (409, "/status", "component_sits")
    assert changed(api, 4, part_number="P-2").status_code == 200
    assert changed(api, 1, part_number="P-3").status_code == 412


@pytest.mark.parametrize(
    ("changes", "refusal"),
    [
        ({"kind": "wheel"}, (400, "/kind", "not_a_choice")),
        ({"tag": ""}, (400, "/tag", "blank")),
        ({"ratings": {"rated_v": True}}, (400, "/ratings/rated_v", "not_a_rating")),
        ({"ratings": {"coil_ohm": 28}}, (422, "/ratings/coil_ohm", "not_of_kind")),
        ({"ratings": {"rated_v": "450 V"}}, (422, "/ratings/rated_v", "not_a_number")),
        ({"donor_pack": "none"}, (422, "/donor_pack", "unknown_pack")),
        ({"status": "fitted"}, (409, "/status", "fitted_by_a_swap")),
        ({"status": "scrapped"}, (422, "/status_reason", "reason_needed")),
        ({"colour": "red"}, (400, "/colour", "unknown_field")),
    ],
)
def test_what_is_wrong_is_pointed_at(
    api: Api, changes: dict[str, Any], refusal: tuple[int, str, str]
) -> None:
    bench, before = api("bench"), world.contents()
    assert fault(bench.post(URL, {"tag": "C-9", "kind": "fuse", **changes})) == refusal
    assert world.contents() == before


def test_roles_and_filters(api: Api) -> None:
    part(api), part(api, "F-1", "fuse", status="reserved", donor_pack="TP-0001")
    assert api("desk").post(URL, {"tag": "X", "kind": "fuse"}).status_code == 403
    assert api("machine").get(URL).status_code == 403

    def tags(**asked: Any) -> list[str]:
        return [row["tag"] for row in api("desk").get(URL, asked).json()["results"]]

    assert tags() == ["C-1", "F-1"]
    assert tags(kind="fuse") == tags(status="reserved") == tags(donor_pack="tp-0001") == ["F-1"]
    assert tags(pack="TP-0001") == tags(pack="none") == []
