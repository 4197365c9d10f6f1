"""swaps/: what sat where, from changes in any order, and what the register refuses."""

from typing import Any

import pytest

from packs.models import Edit, Module, Pack, Placement, Swap, Visit
from tests import world
from tests.packs.api.conftest import Api
from tests.world import later

pytestmark = pytest.mark.django_db
ADDRESS = "/api/v1/swaps/"


@pytest.fixture
def pack(db: None) -> Pack:
    return world.pack()


def body(pack: Pack, *changes: dict[str, Any], day: float = 10, **more: Any) -> dict[str, Any]:
    return {
        "pack": pack.serial,
        "done_at": later(days=day).isoformat(),
        "kind": "module",
        "changes": list(changes),
        **more,
    }


def at_3(removed: str | None = None, fitted: str | None = None, **more: Any) -> dict[str, Any]:
    return {"position": 3, "removed": removed, "fitted": fitted, "reason": "slow", **more}


def seats(pack: Pack, position: int = 3) -> list[tuple[str | None, float | None, float | None]]:
    """Tag, day fitted, day removed, in order of time."""
    rows = Placement.objects.filter(pack=pack, position=position).select_related("module")
    told = [
        (row.module.tag if row.module else None, _day(row.fitted_at), _day(row.removed_at))
        for row in rows
    ]
    return sorted(told, key=lambda row: -1 if row[1] is None else row[1])


def _day(instant: Any) -> float | None:
    return None if instant is None else (instant - world.BEGUN).total_seconds() / 86400


def refused(answer: Any, status: int, code: str, pointer: str) -> None:
    told = [(error["code"], error["pointer"]) for error in answer.json()["errors"]]
    assert (answer.status_code, told) == (status, [(code, pointer)]), answer.json()


def test_a_swap_moves_modules_and_begins_a_build(api: Api, pack: Pack) -> None:
    world.module("A"), world.module("B")
    bench = api("bench")
    bench.post(ADDRESS, body(pack, at_3(fitted="A")))
    answer = bench.post(
        ADDRESS, body(pack, at_3("A", "B", orientation="reversed"), day=20, done_by=None)
    )
    assert answer.status_code == 201
    told = answer.json()
    assert told["starts_build"] is True
    assert told["changes"] == [
        {
            "position": 3,
            "slot": None,
            "removed": "A",
            "fitted": "B",
            "reason": "slow",
            "orientation": "reversed",
        }
    ]
    assert bench.get(answer["Location"]).json() == told
    assert seats(pack) == [(None, None, 10), ("A", 10, 20), ("B", 20, None)]
    assert Placement.objects.get(module__tag="B").orientation == "reversed"
    pack.refresh_from_db()
    assert (pack.since, pack.revision) == (later(days=20), 3)
    states = dict(Module.objects.values_list("tag", "status"))
    assert states == {"A": "stock", "B": "fitted"}
    assert list(Module.objects.order_by("tag").values_list("version", flat=True)) == [3, 2]
    assert Edit.objects.filter(kind="module", key="A").count() == 2


def test_a_late_swap_cuts_an_interval_and_leaves_the_rest_their_numbers(
    api: Api, pack: Pack
) -> None:
    for tag in "ABC":
        world.module(tag)
    bench = api("bench")
    bench.post(ADDRESS, body(pack, at_3(fitted="A"), day=10))
    bench.post(ADDRESS, body(pack, at_3(), day=30))
    before = dict(Placement.objects.filter(pack=pack).values_list("fitted_by", "pk"))
    assert bench.post(ADDRESS, body(pack, at_3("A", "B"), day=20)).status_code == 201
    assert seats(pack) == [(None, None, 10), ("A", 10, 20), ("B", 20, 30), (None, 30, None)]
    after = dict(Placement.objects.filter(pack=pack).values_list("fitted_by", "pk"))
    assert before.items() <= after.items()
    pack.refresh_from_db()
    assert pack.since == later(days=30)


def test_what_came_out_names_the_nameless_module_that_sat_there(api: Api, pack: Pack) -> None:
    world.module("OLD")
    assert api().post(ADDRESS, body(pack, at_3("OLD", None))).status_code == 201
    assert seats(pack) == [("OLD", None, 10), (None, 10, None)]
    assert Module.objects.get().status == "stock"


def test_a_known_module_that_comes_out_is_named(api: Api, pack: Pack) -> None:
    world.module("A"), world.module("B")
    client = api("bench")
    client.post(ADDRESS, body(pack, at_3(fitted="A")))
    before = world.contents()
    answer = client.post(ADDRESS, body(pack, at_3(fitted="B"), day=12))
    refused(answer, 409, "removed_not_named", "/changes/0/removed")
    assert world.contents() == before
    assert client.post(ADDRESS, body(pack, at_3("A", "B"), day=12)).status_code == 201


def test_both_tags_null_renew_the_position(api: Api, pack: Pack) -> None:
    world.module("A")
    api().post(ADDRESS, body(pack, at_3(fitted="A")))
    assert api().post(ADDRESS, body(pack, at_3(), day=12)).status_code == 201
    assert seats(pack) == [(None, None, 10), ("A", 10, 12), (None, 12, None)]


def test_modules_change_places_within_one_swap(api: Api, pack: Pack) -> None:
    world.module("A"), world.module("B")
    first = [at_3(fitted="A"), {"position": 7, "fitted": "B"}]
    crossing = [at_3("A", "B"), {"position": 7, "removed": "B", "fitted": "A"}]
    assert api().post(ADDRESS, body(pack, *first)).status_code == 201
    assert api().post(ADDRESS, body(pack, *crossing, day=20)).status_code == 201
    assert seats(pack)[-1] == ("B", 20, None)
    assert seats(pack, 7)[-1] == ("A", 20, None)
    assert set(Module.objects.values_list("status", flat=True)) == {"fitted"}


@pytest.mark.parametrize(
    ("slot", "starts_build"), [("fuse", False), ("bus_bar:5", True), ("sense_harness", True)]
)
def test_parts_by_their_slot(api: Api, pack: Pack, slot: str, starts_build: bool) -> None:
    change = {"slot": slot, "removed": "old one", "fitted": "125 A", "reason": "blown"}
    answer = api("bench").post(ADDRESS, body(pack, change, kind="component"))
    assert answer.status_code == 201
    told = answer.json()
    assert (told["starts_build"], told["changes"][0]["slot"]) == (starts_build, slot)
    assert told["changes"][0]["fitted"] == "125 A"
    pack.refresh_from_db()
    assert pack.since == (later(days=10) if starts_build else None)
    assert not Placement.objects.filter(pack=pack, fitted_by__isnull=False).exists()


def test_the_same_again_is_found(api: Api, pack: Pack) -> None:
    world.module("A")
    bench = api("bench")
    said = body(pack, at_3(fitted="A"), external_id="s-1")
    first = bench.post(ADDRESS, said)
    again = bench.post(ADDRESS, said)
    assert (again.status_code, again.json()) == (200, first.json())
    other = bench.post(ADDRESS, body(pack, at_3(fitted=None), external_id="s-1"))
    refused(other, 409, "external_id_taken", "/external_id")
    assert Swap.objects.count() == 1


CONTRADICTIONS = [
    ({"changes": [at_3(fitted="A"), at_3()]}, "named_twice", "/changes/1/position"),
    ({"changes": [{"position": 29}]}, "no_such_position", "/changes/0/position"),
    ({"changes": [{"position": 0}]}, "no_such_position", "/changes/0/position"),
    ({"changes": [{"fitted": "A"}]}, "no_such_position", "/changes/0/position"),
    ({"changes": [at_3(slot="fuse")]}, "not_a_position", "/changes/0/position"),
    ({"kind": "component"}, "not_a_slot", "/changes/0/slot"),
    (
        {"kind": "component", "changes": [{"slot": "horn"}]},
        "no_such_slot",
        "/changes/0/slot",
    ),
    ({"changes": [at_3(fitted="Z")]}, "unknown_module", "/changes/0/fitted"),
    ({"changes": [at_3(removed="Z")]}, "unknown_module", "/changes/0/removed"),
    ({"changes": [at_3(fitted="FOUR")]}, "wrong_cells", "/changes/0/fitted"),
    ({"pack": "NONE"}, "unknown_pack", "/pack"),
    ({"done_at": "2199-01-01T00:00:00Z"}, "in_the_future", "/done_at"),
    ({"done_at": "2020-01-01T00:00:00Z"}, "before_built", "/done_at"),
    ({"visit": "vi_00000000"}, "unknown_visit", "/visit"),
]


@pytest.mark.parametrize(("more", "code", "pointer"), CONTRADICTIONS)
def test_what_contradicts_the_pack(
    api: Api, db: None, more: dict[str, Any], code: str, pointer: str
) -> None:
    pack = world.pack(built_on=world.BEGUN.date())
    world.module("A"), world.module("FOUR", cells=4)
    client = api("bench")
    before = world.contents()
    refused(client.post(ADDRESS, {**body(pack, at_3(fitted="A")), **more}), 422, code, pointer)
    assert world.contents() == before


@pytest.mark.parametrize(
    ("more", "pointer"),
    [
        ({"changes": []}, "/changes"),
        ({"changes": [{"position": 1.5}]}, "/changes/0/position"),
        ({"changes": [{"position": 1, "module": "A"}]}, "/changes/0/module"),
        ({"kind": "both"}, "/kind"),
        ({"colour": "red"}, "/colour"),
    ],
)
def test_what_is_malformed(api: Api, pack: Pack, more: dict[str, Any], pointer: str) -> None:
    answer = api("bench").post(ADDRESS, {**body(pack, at_3()), **more})
    assert answer.status_code == 400
    assert [error["pointer"] for error in answer.json()["errors"]] == [pointer]


def test_another_module_is_said_to_have_come_out(api: Api, pack: Pack) -> None:
    world.module("A"), world.module("B")
    api().post(ADDRESS, body(pack, at_3(fitted="A")))
    client, before = api(), world.contents()
    answer = client.post(ADDRESS, body(pack, at_3("B", None), day=20))
    refused(answer, 409, "another_module_there", "/changes/0/removed")
    assert "A sat at position 3" in answer.json()["detail"]
    late = client.post(ADDRESS, body(pack, at_3(None, "B"), day=10))
    refused(late, 409, "changed_at_that_instant", "/changes/0/position")
    assert world.contents() == before


def test_a_late_swap_that_fits_what_another_swap_denies(api: Api, pack: Pack) -> None:
    world.module("A"), world.module("B")
    api().post(ADDRESS, body(pack, at_3("A", None), day=20))
    answer = api().post(ADDRESS, body(pack, at_3(None, "B"), day=10))
    refused(answer, 409, "another_module_there", "/changes/0/fitted")


def test_a_module_is_in_one_place(api: Api, pack: Pack) -> None:
    world.module("A")
    other = world.pack("TP-0002")
    client = api("bench")
    client.post(ADDRESS, body(pack, at_3(fitted="A")))
    before = world.contents()
    answer = client.post(
        ADDRESS, body(other, {"position": 1}, {"position": 5, "fitted": "A"}, day=20)
    )
    refused(answer, 409, "module_elsewhere", "/changes/1/fitted")
    assert "position 3 of pack TP-0001" in answer.json()["detail"]
    earlier = client.post(ADDRESS, body(other, {"position": 5, "fitted": "A"}, day=5))
    refused(earlier, 409, "module_elsewhere", "/changes/0/fitted")
    twice = client.post(
        ADDRESS, body(other, {"position": 1, "removed": "A"}, {"position": 2, "removed": "A"})
    )
    assert twice.status_code == 409
    assert world.contents() == before
    client.post(ADDRESS, body(pack, at_3("A", None), day=15))
    moved = client.post(ADDRESS, body(other, {"position": 5, "fitted": "A"}, day=20))
    assert moved.status_code == 201


@pytest.mark.parametrize("status", ["scrapped", "quarantined"])
def test_what_is_set_aside_is_not_fitted(api: Api, pack: Pack, status: str) -> None:
    world.module("A", status=status)
    answer = api("bench").post(ADDRESS, body(pack, at_3(fitted="A")))
    refused(answer, 409, f"module_{status}", "/changes/0/fitted")
    assert not Swap.objects.exists()


def visit_of(pack: Pack, api: Api) -> str:
    said = {"pack": pack.serial, "opened_at": later(days=5).isoformat()}
    return str(api().post("/api/v1/visits/", said).json()["id"])


def test_what_is_reserved_is_fitted_on_its_own_visit_alone(api: Api, pack: Pack) -> None:
    kept_for = visit_of(pack, api)
    other = world.pack("TP-0002")
    number = Visit.objects.get().pk
    world.module(
        "A", status="reserved", status_reason="promised", reserved_for_id=number, shelf="S"
    )
    unnamed: dict[str, Any] = {}
    for told in (unnamed, {"visit": visit_of(other, api)}):
        answer = api("bench").post(ADDRESS, body(other, at_3(fitted="A"), **told))
        refused(answer, 409, "module_reserved", "/changes/0/fitted")
    answer = api("bench").post(ADDRESS, body(pack, at_3(fitted="A"), visit=kept_for))
    assert answer.status_code == 201
    module = Module.objects.get()
    assert (module.status, module.reserved_for, module.status_reason) == ("fitted", None, "")
    assert module.shelf == ""


def test_a_stay_that_is_over_is_told_of_a_module_quarantined_since(api: Api, pack: Pack) -> None:
    """The removal is told first: to be fitted and nothing else says that it sits there now."""
    world.module("A", status="quarantined")
    bench = api("bench")
    fitted = body(pack, at_3(fitted="A"))
    refused(bench.post(ADDRESS, fitted), 409, "module_quarantined", "/changes/0/fitted")
    assert bench.post(ADDRESS, body(pack, at_3(removed="A"), day=12)).status_code == 201
    assert bench.post(ADDRESS, fitted).status_code == 201
    assert seats(pack) == [(None, None, 10), ("A", 10, 12), (None, 12, None)]
    assert Module.objects.get().status == "quarantined"


def test_voiding_gives_the_position_back(api: Api, pack: Pack) -> None:
    world.module("A"), world.module("B")
    manager = api()
    first = manager.post(ADDRESS, body(pack, at_3(fitted="A")))
    before = seats(pack)
    second = manager.post(ADDRESS, body(pack, at_3("A", "B"), day=20))
    answer = manager.post(f"{second['Location']}void/", {"reason": "another pack"})
    assert answer.status_code == 200
    assert answer.json()["void_reason"] == "another pack"
    assert seats(pack) == before
    assert dict(Module.objects.values_list("tag", "status")) == {"A": "fitted", "B": "stock"}
    pack.refresh_from_db()
    assert pack.since == later(days=10)
    assert manager.post(f"{first['Location']}void/", {"reason": "too"}).status_code == 200
    assert seats(pack) == [(None, None, None)]
    pack.refresh_from_db()
    assert pack.since is None
    refused(manager.post(f"{first['Location']}void/", {"reason": "x"}), 409, "already_voided", "")


def test_voiding_what_later_swaps_rest_on_is_refused(api: Api, pack: Pack) -> None:
    for tag in "ABC":
        world.module(tag)
    manager = api()
    manager.post(ADDRESS, body(pack, at_3(fitted="A")))
    middle = manager.post(ADDRESS, body(pack, at_3("A", "B"), day=20))
    manager.post(ADDRESS, body(pack, at_3("B", "C"), day=30))
    before = world.contents()
    answer = manager.post(f"{middle['Location']}void/", {"reason": "wrong"})
    refused(answer, 409, "another_module_there", "")
    assert world.contents() == before


def test_voiding_a_removal_after_the_module_went_elsewhere_is_refused(api: Api, pack: Pack) -> None:
    world.module("A")
    manager = api()
    manager.post(ADDRESS, body(pack, at_3(fitted="A")))
    removal = manager.post(ADDRESS, body(pack, at_3("A", None), day=20))
    manager.post(ADDRESS, body(world.pack("TP-0002"), at_3(fitted="A"), day=30))
    answer = manager.post(f"{removal['Location']}void/", {"reason": "wrong"})
    refused(answer, 409, "module_elsewhere", "")


def test_a_correction_takes_the_place_of_a_swap(api: Api, pack: Pack) -> None:
    world.module("A"), world.module("B")
    manager = api()
    first = manager.post(ADDRESS, body(pack, at_3(fitted="A"))).json()
    wrong_place = {"position": 4, "fitted": "A"}
    answer = manager.post(ADDRESS, body(pack, wrong_place, supersedes=first["id"]))
    assert answer.status_code == 201
    assert answer.json()["supersedes"] == first["id"]
    assert seats(pack) == [(None, None, None)]
    assert seats(pack, 4) == [(None, None, 10), ("A", 10, None)]
    assert Module.objects.get(tag="A").status == "fitted"


@pytest.mark.parametrize(
    ("role", "read", "write"),
    [("desk", 200, 403), ("bench", 200, 201), ("manager", 200, 201), ("machine", 403, 403)],
)
def test_roles(api: Api, pack: Pack, role: str, read: int, write: int) -> None:
    client = api(role)
    assert client.get(ADDRESS).status_code == read
    assert client.post(ADDRESS, body(pack, at_3())).status_code == write


def test_the_bench_voids_its_own_only(api: Api, pack: Pack) -> None:
    made = api("bench").post(ADDRESS, body(pack, at_3()))
    other = api("bench", "another tablet").post(f"{made['Location']}void/", {"reason": "x"})
    assert other.status_code == 403
    own = api("bench").post(f"{made['Location']}void/", {"reason": "x"})
    assert own.status_code == 200
    assert api("desk").post(f"{made['Location']}void/", {"reason": "x"}).status_code == 403


def test_lists(api: Api, pack: Pack) -> None:
    world.module("A")
    client = api("bench")
    client.post(ADDRESS, body(pack, at_3(fitted="A"), day=10))
    client.post(ADDRESS, body(pack, {"slot": "fuse"}, kind="component", day=20))
    client.post(ADDRESS, body(world.pack("TP-0002"), at_3(), day=15))

    def days(query: str) -> list[int]:
        return [
            int(row["done_at"][8:10]) for row in client.get(f"{ADDRESS}?{query}").json()["results"]
        ]

    assert days("") == [21, 16, 11]
    assert days("pack=tp-0001&ordering=done_at") == [11, 21]
    assert days("module=A") == [11]
    assert days("kind=component") == [21]
    assert days("done_since=2024-03-16T00:00:00Z&done_until=2024-03-17T00:00:00Z") == [16]
    first = client.get(f"{ADDRESS}?page_size=2").json()
    assert len(first["results"]) == 2
    assert len(client.get(first["next"]).json()["results"]) == 1
    assert client.get(f"{ADDRESS}?ordering=kind").status_code == 400
