"""Somebody tries to get past each gate of the work on an open pack, over the API."""

from collections.abc import Mapping
from typing import Any

import pytest

from packs.models import Equipment, LockOut, ReEnergising, Site
from packs.rules.lock_outs import CLEARED, CONFIRMED
from tests import world
from tests.packs.api.conftest import Api
from tests.packs.api.test_lock_outs import RE_ENERGISINGS, URL, body, ended, equip, opened
from tests.packs.api.test_lock_outs import visit as visit  # noqa: PLC0414  # a fixture
from tests.packs.api.test_pack_types import fault

TEARDOWNS = "/api/v1/teardowns/"
REASSEMBLIES = "/api/v1/reassemblies/"


def told(response: Any) -> str:
    """The sentences of a refusal."""
    return " ".join(one["detail"] for one in response.json()["errors"])


def site(**changes: Any) -> Site:
    content = {"code": "main", "name": "Main", "time_zone": "UTC", **changes}
    return Site.objects.create(**content, **world.posted(b"-"))


def without(said: Mapping[str, Any], pointer: str, value: Any) -> dict[str, Any]:
    """The body with another value at the pointer; None leaves it out."""
    _, group, name = pointer.split("/")
    inner = {**said[group], name: value}
    if value is None:
        del inner[name]
    return {**said, group: inner}


@pytest.mark.parametrize("value", [False, None])
@pytest.mark.parametrize("pointer", CONFIRMED)
def test_nothing_is_taken_as_confirmed(api: Api, visit: str, pointer: str, value: Any) -> None:
    bench, before = api("bench"), world.contents()
    response = bench.post(URL, without(body(visit), pointer, value))
    assert fault(response) == (422, pointer, "not_confirmed")
    assert CONFIRMED[pointer] in told(response)
    assert world.contents() == before


@pytest.mark.parametrize("group", ["done", "worn"])
def test_a_whole_group_left_out_confirms_nothing(api: Api, visit: str, group: str) -> None:
    said = body(visit)
    del said[group]
    response = api("bench").post(URL, said)
    assert response.status_code == 422
    assert {one["code"] for one in response.json()["errors"]} == {"not_confirmed"}
    assert len(response.json()["errors"]) == 4


@pytest.mark.parametrize("pointer", ["/done/key_away", "/worn/protectors"])
def test_what_only_looks_like_a_yes_is_none(api: Api, visit: str, pointer: str) -> None:
    for value in ("true", 1, [True]):
        response = api("bench").post(URL, without(body(visit), pointer, value))
        assert fault(response) == (400, pointer, "not_a_boolean")


@pytest.mark.parametrize(
    "name",
    [
        "done_by", "switch_kept_by", "waited_min", "meter", "source_v", "source_before_v",
        "readings", "source_after_v", "gloves",
    ],
)  # fmt: skip
def test_nothing_is_left_out(api: Api, visit: str, name: str) -> None:
    said = body(visit)
    del said[name]
    assert api("bench").post(URL, said).status_code == 400
    assert api("bench").post(URL, {**said, name: None}).status_code == 400
    assert not LockOut.objects.exists()


@pytest.mark.parametrize(
    ("changes", "refusal"),
    [
        ({"waited_min": 9}, (422, "/waited_min", "wait_too_short")),
        ({"waited_min": -1}, (422, "/waited_min", "min_value")),
        ({"source_before_v": 3.1}, (422, "/source_before_v", "meter_not_proved")),
        ({"source_after_v": 0}, (422, "/source_after_v", "meter_not_proved")),
        (
            {"source_v": 0.1, "source_before_v": 0.1, "source_after_v": 0.1},
            (422, "/source_v", "source_too_low"),
        ),
        ({"meter": "G-1"}, (422, "/meter", "wrong_kind")),
        ({"meter": "no such"}, (422, "/meter", "unknown_equipment")),
        ({"switch_kept_by": "nobody"}, (422, "/switch_kept_by", "unknown_person")),
        ({"done_by": "nobody"}, (422, "/done_by", "unknown_person")),
        ({"gloves": "DMM-1"}, (422, "/gloves", "wrong_kind")),
        ({"second_person": "kim"}, (422, "/second_person", "second_person_is_the_first")),
        ({"at": "2100-01-01T00:00:00Z"}, (422, "/at", "in_the_future")),
        ({"visit": "vi_00000000"}, (422, "/visit", "unknown_visit")),
    ],
)
def test_what_proves_nothing_is_refused(
    api: Api, visit: str, changes: dict[str, Any], refusal: tuple[int, str, str]
) -> None:
    bench, before = api("bench"), world.contents()
    assert fault(bench.post(URL, body(visit, **changes))) == refusal
    assert world.contents() == before


@pytest.mark.parametrize("name", ["plus_minus_v", "plus_case_v", "minus_case_v"])
@pytest.mark.parametrize(("volts", "limit"), [(50.0, 50.0), (-210.0, 50.0), (30.0, 30.0)])
def test_a_live_car_side_is_no_lock_out(
    api: Api, visit: str, name: str, volts: float, limit: float
) -> None:
    site(touch_limit_v=limit)
    response = api("bench").post(URL, without(body(visit), f"/readings/{name}", volts))
    assert fault(response) == (422, f"/readings/{name}", "car_side_live")
    assert "Keep away" in told(response)


def test_no_site_sets_a_touch_limit_above_sixty_volts(api: Api, visit: str) -> None:
    said = {"code": "main", "name": "Main", "time_zone": "UTC", "touch_limit_v": 61}
    response = api("manager").post("/api/v1/sites/", said)
    assert fault(response) == (422, "/touch_limit_v", "touch_limit_unsafe")


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"rating": ""}, "glove_class_unknown"),
        ({"checked_on": None}, "gloves_not_tested"),
        ({"issued_on": world.later(days=-130).date()}, "gloves_out_of_date"),
        ({"due_on": world.later(days=61).date()}, "gloves_out_of_date"),
        ({"checked_on": world.later(days=70).date()}, "gloves_tested_later"),
        ({"bad_since": world.later(days=10).date()}, "equipment_bad"),
    ],
)
def test_gloves_that_are_not_to_be_worn(
    api: Api, visit: str, changes: dict[str, Any], code: str
) -> None:
    """2 May is 62 days after the shop began; a test on the first day and the issue before it."""
    if code == "gloves_out_of_date" and "issued_on" in changes:
        changes = {**changes, "checked_on": world.later(days=-131).date()}
    Equipment.objects.filter(code="G-1").update(**changes)
    assert fault(api("bench").post(URL, body(visit))) == (409, "/gloves", code)


def test_the_class_is_held_against_the_whole_pack_and_not_the_piece(api: Api, visit: str) -> None:
    """Class 00 is good for 750 V d.c.; each half of this pack has less, the whole has 960 V."""
    kind = world.pack_type("BIG", module_count=100, modules_per_block=1, bench={"switch_after": 50})
    world.pack("TP-9", kind)
    big = opened(api("desk"), pack="TP-9")
    Equipment.objects.filter(code="G-1").update(rating="class 00")
    response = api("bench").post(URL, body(big))
    assert fault(response) == (409, "/gloves", "glove_class_too_low")
    assert "960.0 V" in told(response)
    assert api("bench").post(URL, body(visit)).status_code == 201


def test_a_site_may_be_stricter_with_gloves(api: Api, visit: str) -> None:
    site(rules={"gloves": {"months_from_issue": 1, "months_shelf": 12}})
    response = api("bench").post(URL, body(visit))
    assert fault(response) == (409, "/gloves", "gloves_out_of_date")


@pytest.mark.parametrize("months", ["six", None, True, -1, 6.5, {}])
def test_a_rule_that_is_no_number_of_months_does_not_open_the_gate(
    api: Api, visit: str, months: Any
) -> None:
    site(rules={"gloves": {"months_from_issue": months}})
    Equipment.objects.filter(code="G-1").update(
        checked_on=world.later(days=-200).date(), issued_on=world.later(days=-190).date()
    )
    response = api("bench").post(URL, body(visit))
    assert fault(response) == (409, "/gloves", "gloves_out_of_date")


def test_a_bad_meter_is_refused(api: Api, visit: str) -> None:
    Equipment.objects.filter(code="DMM-1").update(bad_since=world.later(days=1).date())
    assert fault(api("bench").post(URL, body(visit))) == (409, "/meter", "equipment_bad")


def test_a_second_person_where_the_site_asks_for_one(api: Api, visit: str) -> None:
    site(rules={"second_person": True})
    bench = api("bench")
    assert fault(bench.post(URL, body(visit))) == (422, "/second_person", "second_person_needed")
    same = bench.post(URL, body(visit, second_person="kim"))
    assert fault(same) == (422, "/second_person", "second_person_is_the_first")
    assert bench.post(URL, body(visit, second_person="lee")).status_code == 201
    alone = bench.post(RE_ENERGISINGS, ended(visit))
    assert fault(alone) == (422, "/second_person", "second_person_needed")
    assert bench.post(RE_ENERGISINGS, ended(visit, second_person="lee")).status_code == 201


def test_a_second_person_where_the_type_asks_for_one(api: Api, visit: str) -> None:
    kind = world.pack_type("TWO", bench={"second_person": True})
    world.pack("TP-2", kind)
    response = api("bench").post(URL, body(opened(api("desk"), pack="TP-2")))
    assert fault(response) == (422, "/second_person", "second_person_needed")


def test_all_gates_are_told_at_once_and_what_is_recorded_decides(api: Api, visit: str) -> None:
    Equipment.objects.filter(code="G-1").update(rating="", bad_since=world.BEGUN.date())
    said = without(body(visit, waited_min=1), "/done/key_away", False)
    response = api("bench").post(URL, said)
    assert response.status_code == 409
    assert [one["code"] for one in response.json()["errors"]] == [
        "equipment_bad", "glove_class_unknown", "not_confirmed", "wait_too_short",
    ]  # fmt: skip


def test_a_visit_without_a_pack_has_nothing_to_lock_out(api: Api, visit: str) -> None:
    vin = "1" * 17
    assert api("desk").post("/api/v1/vehicles/", {"vin": vin}).status_code == 201
    alone = api("desk").post(
        "/api/v1/visits/", {"vehicle": vin, "opened_at": "2024-05-01T08:00:00Z"}
    )
    response = api("bench").post(URL, body(alone.json()["id"]))
    assert fault(response) == (409, "/visit", "no_pack_on_visit")


def test_one_lock_out_stands_at_a_time(api: Api, visit: str) -> None:
    bench = api("bench")
    assert bench.post(URL, body(visit)).status_code == 201
    second = bench.post(URL, body(visit, at="2024-05-02T10:00:00Z"))
    assert fault(second) == (409, "/visit", "lock_out_stands")
    assert bench.post(RE_ENERGISINGS, ended(visit)).status_code == 201
    between = bench.post(URL, body(visit, at="2024-05-02T14:00:00Z"))
    assert fault(between) == (409, "/at", "before_re_energising")
    assert bench.post(URL, body(visit, at="2024-05-03T09:00:00Z")).status_code == 201


def test_a_correction_revives_no_lock_out_that_was_ended(api: Api, visit: str) -> None:
    bench = api("bench")
    first = bench.post(URL, body(visit)).json()["id"]
    assert bench.post(RE_ENERGISINGS, ended(visit)).status_code == 201
    again = bench.post(URL, body(visit, at="2024-05-02T16:00:00Z", supersedes=first))
    assert fault(again) == (409, "/supersedes", "lock_out_ended")


def taken_out(visit: str, /, **changes: Any) -> dict[str, Any]:
    said = {"visit": visit, "done_by": "kim", "at": "2024-05-02T10:00:00Z", "part": "cover"}
    return {**said, **changes}


def fitted(visit: str, /, **changes: Any) -> dict[str, Any]:
    said = {"visit": visit, "done_by": "kim", "at": "2024-05-02T11:00:00Z", "kind": "fitted"}
    return {**said, "part": "cover", **changes}


@pytest.mark.parametrize(("url", "said"), [(TEARDOWNS, taken_out), (REASSEMBLIES, fitted)])
def test_no_work_without_a_lock_out(api: Api, visit: str, url: str, said: Any) -> None:
    bench = api("bench")
    assert fault(bench.post(url, said(visit))) == (409, "/visit", "no_lock_out")
    key = bench.post(URL, body(visit)).json()["id"]
    early = bench.post(url, said(visit, at="2024-05-02T08:59:00Z"))
    assert fault(early) == (409, "/at", "before_the_lock_out")
    assert api("manager").post(f"{URL}{key}/void/", {"reason": "other car"}).status_code == 200
    assert fault(bench.post(url, said(visit))) == (409, "/visit", "no_lock_out")


def test_the_lock_out_of_another_visit_is_none(api: Api, visit: str) -> None:
    bench = api("bench")
    assert bench.post(URL, body(visit)).status_code == 201
    other = opened(api("desk"), opened_at="2024-05-01T09:00:00Z")
    assert fault(bench.post(TEARDOWNS, taken_out(other))) == (409, "/visit", "no_lock_out")


def test_after_re_energising_work_needs_a_new_lock_out(api: Api, visit: str) -> None:
    bench = api("bench")
    assert bench.post(URL, body(visit)).status_code == 201
    assert bench.post(RE_ENERGISINGS, ended(visit)).status_code == 201
    for at in ("2024-05-02T10:00:00Z", "2024-05-02T16:00:00Z"):
        late = bench.post(TEARDOWNS, taken_out(visit, at=at))
        assert fault(late) == (409, "/visit", "no_lock_out")


def test_a_lock_out_that_work_counts_under_is_not_voided(api: Api, visit: str) -> None:
    bench, manager = api("bench"), api("manager")
    key = bench.post(URL, body(visit)).json()["id"]
    step = bench.post(TEARDOWNS, taken_out(visit))
    assert step.status_code == 201, step.content
    void = manager.post(f"{URL}{key}/void/", {"reason": "other car"})
    assert fault(void) == (409, "", "work_under_it")
    late = bench.post(URL, body(visit, at="2024-05-02T10:30:00Z", supersedes=key))
    assert fault(late) == (409, "/at", "after_the_work")
    gone = manager.post(f"{TEARDOWNS}{step.json()['id']}/void/", {"reason": "other car"})
    assert gone.status_code == 200
    assert manager.post(f"{URL}{key}/void/", {"reason": "other car"}).status_code == 200


@pytest.mark.parametrize("value", [False, None])
@pytest.mark.parametrize("pointer", CLEARED)
def test_nobody_re_energises_over_a_tool_or_a_hand(
    api: Api, visit: str, pointer: str, value: Any
) -> None:
    assert api("bench").post(URL, body(visit)).status_code == 201
    response = api("bench").post(RE_ENERGISINGS, without(ended(visit), pointer, value))
    assert fault(response) == (422, pointer, "not_confirmed")
    assert CLEARED[pointer] in told(response)
    assert not ReEnergising.objects.exists()


def test_nothing_to_end_without_a_lock_out(api: Api, visit: str) -> None:
    bench = api("bench")
    assert fault(bench.post(RE_ENERGISINGS, ended(visit))) == (409, "/visit", "no_lock_out")
    assert bench.post(URL, body(visit)).status_code == 201
    early = bench.post(RE_ENERGISINGS, ended(visit, at="2024-05-02T08:00:00Z"))
    assert fault(early) == (409, "/at", "before_the_work")
    assert bench.post(RE_ENERGISINGS, ended(visit)).status_code == 201
    twice = bench.post(RE_ENERGISINGS, ended(visit, at="2024-05-02T16:00:00Z"))
    assert fault(twice) == (409, "/visit", "no_lock_out")


def re_energise(api: Api, visit: str) -> Any:
    return api("bench").post(RE_ENERGISINGS, ended(visit))


def test_nobody_re_energises_while_something_is_out(api: Api, visit: str) -> None:
    bench = api("bench")
    assert bench.post(URL, body(visit)).status_code == 201
    assert bench.post(TEARDOWNS, taken_out(visit)).status_code == 201
    response = re_energise(api, visit)
    assert fault(response) == (409, "/visit", "still_out")
    assert "Cover is still out." in told(response)
    assert bench.post(REASSEMBLIES, fitted(visit)).status_code == 201
    early = bench.post(RE_ENERGISINGS, ended(visit, at="2024-05-02T10:30:00Z"))
    assert fault(early) == (409, "/at", "before_the_work")
    assert re_energise(api, visit).status_code == 201


def test_nobody_re_energises_before_polarity_and_halves_are_proved(api: Api, visit: str) -> None:
    bench = api("bench")
    assert bench.post(URL, body(visit)).status_code == 201
    out = taken_out(visit, part="bus_bar", places=[3])
    assert bench.post(TEARDOWNS, out).status_code == 201
    response = re_energise(api, visit)
    assert response.status_code == 409
    assert {one["code"] for one in response.json()["errors"]} == {"still_out", "not_ready"}
    assert "Bus bar after module 3 is still out." in told(response)
    assert "polarity not measured" in told(response)
    assert "Half 1" in told(response)
    unproved = bench.post(REASSEMBLIES, fitted(visit, part="bus_bar", places=[3]))
    assert unproved.status_code == 409
    assert not ReEnergising.objects.exists()


def test_a_re_energising_is_not_voided_under_what_rests_on_it(api: Api, visit: str) -> None:
    bench, manager = api("bench"), api("manager")
    assert bench.post(URL, body(visit)).status_code == 201
    key = re_energise(api, visit).json()["id"]
    again = bench.post(URL, body(visit, at="2024-05-03T09:00:00Z")).json()["id"]
    void = manager.post(f"{RE_ENERGISINGS}{key}/void/", {"reason": "other car"})
    assert fault(void) == (409, "", "locked_out_since")
    assert manager.post(f"{URL}{again}/void/", {"reason": "other car"}).status_code == 200
    assert manager.post(f"{RE_ENERGISINGS}{key}/void/", {"reason": "no"}).status_code == 200
    assert bench.post(TEARDOWNS, taken_out(visit)).status_code == 201


def test_a_machine_and_the_desk_open_no_pack(api: Api, visit: str) -> None:
    for role in ("desk", "machine"):
        for url, said in ((URL, body), (RE_ENERGISINGS, ended), (TEARDOWNS, taken_out)):
            assert api(role).post(url, said(visit)).status_code == 403


def test_tools_of_another_kind_prove_nothing(api: Api, visit: str) -> None:
    equip("T-1", "torque_tool")
    both = api("bench").post(URL, body(visit, meter="T-1", gloves="T-1"))
    assert both.status_code == 422
    assert [one["pointer"] for one in both.json()["errors"]] == ["/meter", "/gloves"]


def other_visit(api: Api) -> str:
    return opened(api("desk"), opened_at="2024-05-01T09:00:00Z")


def test_one_lock_out_stands_on_a_pack_whatever_the_visit(api: Api, visit: str) -> None:
    bench, other = api("bench"), other_visit(api)
    assert bench.post(URL, body(visit)).status_code == 201
    second = bench.post(URL, body(other, at="2024-05-02T10:00:00Z"))
    assert fault(second) == (409, "/visit", "locked_out_elsewhere")
    assert visit in told(second)
    check = {"visit": other, "scope": "pack_alone", "method": "tester", "pack_v": 170,
             "test_v": 500, "isolation_ohm": 5e6, "at": "2024-05-02T10:00:00Z"}  # fmt: skip
    isolation = bench.post("/api/v1/isolation-checks/", check)
    assert fault(isolation) == (409, "/visit", "locked_out_elsewhere")
    road = {"distance_km": 12.0, "highest_current_a": 95.0}
    release = {"visit": other, "done_by": "kim", "codes_clear": True, "road_test": road}
    refused = bench.post("/api/v1/releases/", release)
    assert refused.status_code == 409
    assert "locked_out_elsewhere" in [one["code"] for one in refused.json()["errors"]]
    assert re_energise(api, visit).status_code == 201
    assert bench.post("/api/v1/isolation-checks/", check).status_code == 201


def test_a_lock_out_belongs_to_an_open_visit_and_its_time(api: Api, visit: str) -> None:
    bench = api("bench")
    early = bench.post(URL, body(visit, at="2024-05-01T07:59:00Z"))
    assert fault(early) == (422, "/at", "before_the_visit")
    closed = opened(api("desk"), state="closed")
    assert fault(bench.post(URL, body(closed))) == (409, "/visit", "visit_closed")


@pytest.mark.parametrize("state", ["ready", "closed"])
def test_a_visit_is_not_ended_while_its_pack_is_locked_out(
    api: Api, visit: str, state: str
) -> None:
    desk, address = api("desk"), f"/api/v1/visits/{visit}/"
    assert api("bench").post(URL, body(visit)).status_code == 201

    def patch() -> Any:
        tag = desk.get(address)["ETag"]
        return desk.patch(address, {"state": state}, headers={"If-Match": tag})

    assert fault(patch()) == (409, "/state", "lock_out_stands")
    assert re_energise(api, visit).status_code == 201
    assert patch().status_code == 200


def test_a_leak_is_told_when_the_switch_goes_in(api: Api, visit: str) -> None:
    bench = api("bench")
    assert bench.post(URL, body(visit)).status_code == 201
    low = {"visit": visit, "scope": "pack_alone", "method": "tester", "pack_v": 170,
           "test_v": 500, "isolation_ohm": 1000, "at": "2024-05-02T10:00:00Z"}  # fmt: skip
    assert bench.post("/api/v1/isolation-checks/", low).status_code == 201
    said = ended(visit, external_id="r-1")
    first = bench.post(RE_ENERGISINGS, said)
    assert first.status_code == 201, first.content
    (warning,) = first.json()["warnings"]
    assert "is below the limit" in warning
    again = bench.post(RE_ENERGISINGS, said)
    assert (again.status_code, again.json()) == (200, first.json())
