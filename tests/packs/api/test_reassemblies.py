"""reassemblies/: what goes back, and what is measured before it is joined."""

from datetime import UTC, datetime
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from packs.models import Equipment, HistoryEntry, Pack, PackType, Reassembly
from tests import world
from tests.packs.api.conftest import Api
from tests.packs.api.test_lock_outs import ended, equip
from tests.packs.api.test_pack_types import fault
from tests.packs.api.test_teardowns import RE_ENERGISINGS, opening, take_out
from tests.packs.api.test_teardowns import locked as locked  # noqa: PLC0414  # fixtures
from tests.packs.api.test_teardowns import visit as visit  # noqa: PLC0414

URL = "/api/v1/reassemblies/"
EQUAL = [{"position": at, "rest_v": 7.9} for at in (1, 2, 3)]
TIGHT = {"kind": "nut", "torque_nm": 5.1, "tool": "TRQ-1", "paint": True, "order": "crosswise"}


def body(visit: str, kind: str, minute: int = 0, **changes: Any) -> dict[str, Any]:
    said = {"visit": visit, "kind": kind, "done_by": "kim", "at": f"2024-05-02T11:{minute:02}:00Z"}
    return {**said, **changes}


def fit(visit: str, part: str, *places: int, minute: int = 0, **changes: Any) -> dict[str, Any]:
    return body(visit, "fitted", minute, part=part, places=list(places), **changes)


def read(visit: str, minute: int, **volts: float) -> dict[str, Any]:
    """Rest voltages by position: p1=7.9 and so on."""
    rows = [{"position": int(name[1:]), "rest_v": volt} for name, volt in volts.items()]
    return body(visit, "polarity", minute, readings=rows)


def stored(bench: APIClient, said: dict[str, Any]) -> Any:
    response = bench.post(URL, said)
    assert response.status_code == 201, response.content
    return response.json()


@pytest.fixture
def opened(api: Api, locked: str) -> str:
    """Bus bars 1 and 2 are out with their four nuts, and module 2."""
    bench = api("bench")
    seen = [{"position": 2, "sense_lead": "S2"}]
    take_out(bench, locked, "bus_bar", 1, 2, fasteners=[{"kind": "nut", "count": 4}], seen=seen)
    take_out(bench, locked, "module", 2, at="2024-05-02T10:10:00Z")
    return locked


def put_back(bench: APIClient, visit: str) -> None:
    """Module 2 back as it was, and the polarity of all three proved."""
    stored(bench, fit(visit, "module", 2, seen=[{"position": 2, "orientation": "reversed"}]))
    stored(bench, read(visit, 1, p1=7.9, p2=7.91, p3=7.92))
    stored(bench, body(visit, "equalised", 1, readings=EQUAL))


def test_all_that_came_out_goes_back(api: Api, opened: str) -> None:
    bench = api("bench")
    put_back(bench, opened)
    bars = stored(bench, fit(opened, "bus_bar", 1, 2, minute=2, fasteners=[{**TIGHT, "count": 4}]))
    assert bars["warnings"] == []
    assert bars["fasteners"] == [{**TIGHT, "count": 4}]
    assert HistoryEntry.objects.filter(kind="reassembly").latest("pk").summary == (
        "Put back: bus bars after module 1, 2; 4 × nut"
    )
    lies = opening(bench, opened)
    assert (lies["out"], lies["joints_open"], lies["polarity_missing"]) == ([], [3], [])
    assert lies["wants"] == [
        "Half 1: measure it alone, without current, before the switch joins it.",
        "Half 2: measure it alone, without current, before the switch joins it.",
    ]


def test_the_switch_waits_for_both_halves(api: Api, opened: str) -> None:
    bench = api("bench")
    put_back(bench, opened)
    stored(bench, fit(opened, "bus_bar", 1, 2, minute=2, fasteners=[{**TIGHT, "count": 4}]))
    told = stored(bench, body(opened, "half", 4, half=1, half_v=23.72))
    assert (told["verdict"]["kind"], told["verdict"]["sum_v"]) == ("agrees", pytest.approx(23.73))
    early = bench.post(RE_ENERGISINGS, ended(opened))
    assert early.status_code == 409
    unread = stored(bench, body(opened, "half", 5, half=2, half_v=23.6))
    assert (unread["verdict"]["kind"], unread["verdict"]["measured_v"]) == (None, None)
    assert unread["verdict"]["said"].startswith("Half 2: no rest voltage of 4, 5, 6")
    stored(bench, read(opened, 6, p4=7.9, p5=7.9, p6=7.9))
    stored(bench, body(opened, "half", 7, half=2, half_v=23.7))
    assert opening(bench, opened)["wants"] == []
    done = bench.post(RE_ENERGISINGS, ended(opened))
    assert done.status_code == 201, done.content


def test_a_half_whose_sum_lacks_twice_a_module_has_one_turned(api: Api, opened: str) -> None:
    bench = api("bench")
    put_back(bench, opened)
    stored(bench, fit(opened, "bus_bar", 1, 2, minute=2, fasteners=[{**TIGHT, "count": 4}]))
    told = stored(bench, body(opened, "half", 3, half=1, half_v=23.73 - 2 * 7.91))
    assert (told["verdict"]["kind"], told["verdict"]["positions"]) == ("reversed", [1, 2, 3])
    assert "wrong way round" in told["verdict"]["said"]


def test_a_module_the_wrong_way_round_is_kept_and_not_joined(api: Api, opened: str) -> None:
    bench = api("bench")
    stored(bench, fit(opened, "module", 2, seen=[{"position": 2, "orientation": "reversed"}]))
    stored(bench, read(opened, 1, p1=7.9, p2=-7.9, p3=7.9))
    stored(bench, fit(opened, "bus_bar", 1, minute=2))
    refused = bench.post(URL, fit(opened, "bus_bar", 2, minute=3))
    assert fault(refused) == (409, "/places/0", "wrong_way_round")
    assert "Turn it" in refused.json()["errors"][0]["detail"]
    assert opening(bench, opened)["polarity_wrong"] == [2]
    stored(bench, read(opened, 4, p2=7.9))
    stored(bench, fit(opened, "bus_bar", 2, minute=5))


def test_a_last_bus_bar_waits_for_the_polarity(api: Api, opened: str) -> None:
    bench = api("bench")
    absent = bench.post(URL, fit(opened, "bus_bar", 2))
    assert {row["code"] for row in absent.json()["errors"]} == {"module_out", "polarity_missing"}
    stored(bench, fit(opened, "module", 2, seen=[{"position": 2, "orientation": "reversed"}]))
    refused = bench.post(URL, fit(opened, "bus_bar", 2, minute=1))
    assert fault(refused) == (409, "/places/0", "polarity_missing")


@pytest.mark.parametrize(
    ("seen", "refusal"),
    [
        ([], (409, "/places/0", "say_how_it_lies")),
        (
            [{"position": 2, "orientation": "normal"}],
            (409, "/seen/0/orientation", "not_as_the_type"),
        ),
        (
            [{"position": 2, "orientation": "reversed", "sense_lead": "S3"}],
            (409, "/seen/0/sense_lead", "not_as_it_was"),
        ),
    ],
)
def test_a_module_lies_as_it_was_seen(
    api: Api, opened: str, seen: list[Any], refusal: tuple[int, str, str]
) -> None:
    bench, before = api("bench"), world.contents()
    assert fault(bench.post(URL, fit(opened, "module", 2, seen=seen))) == refusal
    assert world.contents() == before


def test_no_more_goes_in_than_came_out(api: Api, opened: str) -> None:
    bench = api("bench")
    put_back(bench, opened)
    five = fit(opened, "bus_bar", 1, 2, minute=2, fasteners=[{**TIGHT, "count": 5}])
    assert fault(bench.post(URL, five)) == (409, "/fasteners/0/count", "more_back_than_out")
    stored(bench, fit(opened, "bus_bar", 1, 2, minute=2, fasteners=[{**TIGHT, "count": 3}]))
    assert opening(bench, opened)["wants"][0] == "nut: 3 of 4 back, 1 left."
    again = bench.post(URL, fit(opened, "bus_bar", 1, minute=3))
    assert fault(again) == (409, "/places/0", "not_out")


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"torque_nm": 5.5}, []),
        ({"torque_nm": 5.6}, ["nut: 5.6 N·m, more than 10 % off the type's 5 N·m"]),
        ({"torque_nm": None}, ["nut: the type asks for 5 N·m; no torque is noted."]),
        ({"tool": None}, ["nut: no torque tool is named."]),
        ({"paint": False}, ["nut: the type asks for a paint mark; none is noted."]),
    ],
)
def test_a_torque_off_the_types_is_told(
    api: Api, opened: str, changes: dict[str, Any], told: list[str]
) -> None:
    bench = api("bench")
    put_back(bench, opened)
    tight = {**TIGHT, "count": 4, **changes}
    warnings = stored(bench, fit(opened, "bus_bar", 1, 2, minute=2, fasteners=[tight]))["warnings"]
    assert len(warnings) == len(told)
    assert all(warning.startswith(one) for warning, one in zip(warnings, told, strict=True))


def test_a_tool_is_of_its_kind_and_in_date(api: Api, opened: str) -> None:
    bench = api("bench")
    put_back(bench, opened)

    def bars(tool: str) -> dict[str, Any]:
        tight = [{**TIGHT, "count": 4, "tool": tool}]
        return fit(opened, "bus_bar", 1, 2, minute=2, fasteners=tight)

    assert fault(bench.post(URL, bars("DMM-1"))) == (422, "/fasteners/0/tool", "wrong_kind")
    assert fault(bench.post(URL, bars("TRQ-9"))) == (
        422,
        "/fasteners/0/tool",
        "unknown_equipment",
    )
    equip("TRQ-2", "torque_tool", bad_since="2024-05-01")
    assert fault(bench.post(URL, bars("TRQ-2"))) == (409, "/fasteners/0/tool", "equipment_bad")
    equip("TRQ-3", "torque_tool", due_on="2024-05-01")
    said = {**bars("TRQ-3"), "external_id": "once"}
    told = stored(bench, said)
    assert len(told["warnings"]) == 1
    assert "TRQ-3 was due" in told["warnings"][0]
    Equipment.objects.filter(code="TRQ-3").update(due_on="2025-05-01")
    assert bench.post(URL, said).json()["warnings"] == told["warnings"]
    assert Reassembly.objects.filter(part="bus_bar").count() == 1


@pytest.mark.parametrize(
    ("kind", "changes", "refusal"),
    [
        ("fitted", {}, (422, "/part", "needed")),
        ("fitted", {"part": "cover", "half": 1}, (422, "/half", "not_of_this_kind")),
        ("fitted", {"part": "module", "places": []}, (422, "/places", "places_needed")),
        ("polarity", {"readings": []}, (422, "/readings", "needed")),
        (
            "polarity",
            {"readings": [{"position": 1, "rest_v": 79}]},
            (422, "/readings/0/rest_v", "out_of_range"),
        ),
        (
            "polarity",
            {"readings": [{"position": 7, "rest_v": 7.9}]},
            (422, "/readings/0/position", "no_such_position"),
        ),
        (
            "polarity",
            {"readings": [{"position": 2, "rest_v": 7.9}]},
            (409, "/readings/0/position", "module_out"),
        ),
        ("half", {"half": 1}, (422, "/half_v", "needed")),
        ("half", {"half": 3, "half_v": 20}, (422, "/half", "max_value")),
        ("half", {"half": 1, "half_v": 230}, (422, "/half_v", "out_of_range")),
        ("half", {"half": 1, "half_v": 23}, (409, "/half", "half_is_open")),
        ("half", {"half": 2, "half_v": 23, "meter": "G-1"}, (422, "/meter", "wrong_kind")),
        ("equalised", {}, (422, "/readings", "needed")),
        ("equalised", {"note": "two hours in parallel"}, (422, "/readings", "needed")),
        ("equalised", {"readings": EQUAL}, (409, "/readings/1/position", "module_out")),
        (
            "equalised",
            {"readings": [{"position": 1, "rest_v": 7.9}, {"position": 3, "rest_v": 8.1}]},
            (422, "/readings", "not_equal"),
        ),
        ("glued", {}, (400, "/kind", "not_a_choice")),
    ],
)
def test_what_can_not_be_is_refused(
    api: Api, opened: str, kind: str, changes: dict[str, Any], refusal: tuple[int, str, str]
) -> None:
    bench, before = api("bench"), world.contents()
    assert fault(bench.post(URL, body(opened, kind, **changes))) == refusal
    assert world.contents() == before


def test_nothing_goes_back_without_a_lock_out(api: Api, visit: str) -> None:
    refused = api("bench").post(URL, fit(visit, "cover"))
    assert fault(refused) == (409, "/visit", "no_lock_out")


def test_equal_charge_is_proved_by_readings_or_told(api: Api, opened: str) -> None:
    bench = api("bench")
    rows = [{"position": 1, "rest_v": 7.9}, {"position": 3, "rest_v": 8.0}]
    told = stored(bench, body(opened, "equalised", 1, readings=rows, meter="DMM-1"))
    assert (told["readings"], told["meter"]) == (rows, "DMM-1")
    put_back(bench, opened)
    assert opening(bench, opened)["equalised"] is True
    stored(bench, fit(opened, "bus_bar", 1, 2, minute=2, fasteners=[{**TIGHT, "count": 4}]))


def test_equal_charge_covers_every_module_that_was_out(api: Api, opened: str) -> None:
    bench = api("bench")
    stored(bench, fit(opened, "module", 2, seen=[{"position": 2, "orientation": "reversed"}]))
    stored(bench, read(opened, 1, p1=7.9, p2=7.91, p3=7.92))
    part = bench.post(URL, body(opened, "equalised", 1, readings=[EQUAL[0], EQUAL[2]]))
    assert fault(part) == (422, "/readings", "not_covered")
    early = stored(bench, fit(opened, "bus_bar", 1, 2, minute=2, fasteners=[{**TIGHT, "count": 4}]))
    assert [one for one in early["warnings"] if "equal charge" in one] == [
        "Module 2 was taken out or changed and is not brought to equal charge yet: do it before "
        "its last bus bar goes in, and note the rest voltages."
    ]
    assert "Module 2 was taken out or changed" in opening(bench, opened)["wants"][0]
    stored(bench, body(opened, "equalised", 3, readings=EQUAL))
    assert opening(bench, opened)["equalised"] is True


def test_a_change_of_a_module_asks_for_its_polarity_again(api: Api, opened: str) -> None:
    bench = api("bench")
    put_back(bench, opened)
    change = {"position": 2, "removed": None, "fitted": None, "reason": "low"}
    swapped = bench.post(
        "/api/v1/swaps/",
        {"pack": "TP-0001", "visit": opened, "done_at": "2024-05-02T11:03:00Z", "kind": "module",
         "changes": [change]},
    )  # fmt: skip
    assert swapped.status_code == 201, swapped.content
    lies = opening(bench, opened)
    assert (lies["polarity_missing"], lies["equalised"]) == ([2], False)


def test_an_opening_is_read_in_a_fixed_number_of_queries(api: Api, opened: str) -> None:
    bench, counted = api("bench"), []
    put_back(bench, opened)
    for minute in (10, 11):
        with CaptureQueriesContext(connection) as queries:
            bench.get(f"/api/v1/visits/{opened}/opening/")
        counted.append(len(queries))
        stored(bench, read(opened, minute, p1=7.9, p3=7.9))
    assert counted[0] == counted[1]


def since() -> datetime | None:
    return Pack.objects.get().since


def minute(number: int) -> datetime:
    return datetime(2024, 5, 2, 11, number, tzinfo=UTC)


def test_a_joint_done_up_again_begins_a_build(api: Api, opened: str) -> None:
    bench, manager = api("bench"), api("manager")
    put_back(bench, opened)
    assert since() == minute(0)
    proved = Reassembly.objects.get(kind="polarity")
    first = stored(bench, fit(opened, "bus_bar", 1, minute=2))
    late = stored(bench, fit(opened, "bus_bar", 2, minute=4))
    assert (proved.starts_build, first["starts_build"], since()) == (False, True, minute(4))
    manager.post(f"{URL}{late['id']}/void/", {"reason": "another bar"})
    assert since() == minute(2)
    again = fit(opened, "bus_bar", 1, minute=6, supersedes=first["id"])
    stored(bench, again)
    assert since() == minute(6)


def test_a_step_told_late_leaves_the_build_that_began_after_it(api: Api, opened: str) -> None:
    bench = api("bench")
    swapped = bench.post(
        "/api/v1/swaps/",
        {"pack": "TP-0001", "done_at": "2024-05-02T12:00:00Z", "kind": "component",
         "changes": [{"slot": "sense_harness"}]},
    )  # fmt: skip
    assert swapped.status_code == 201, swapped.content
    put_back(bench, opened)
    assert since() == datetime(2024, 5, 2, 12, tzinfo=UTC)


@pytest.mark.parametrize("chemistry", ["nimh", "li_ion"])
def test_equal_charge_begins_a_build_where_it_lasts(api: Api, opened: str, chemistry: str) -> None:
    PackType.objects.update(chemistry=chemistry)
    put_back(api("bench"), opened)
    rows = [{"position": position, "rest_v": 7.9} for position in (1, 2, 3)]
    told = stored(api("bench"), body(opened, "equalised", 7, readings=rows, meter="DMM-1"))
    assert told["starts_build"] is (chemistry == "li_ion")
    assert since() == (minute(7) if chemistry == "li_ion" else minute(0))


def test_the_type_rules_the_way_round(api: Api, locked: str) -> None:
    bench = api("bench")
    seen = [{"position": 2, "orientation": "normal"}]
    told = take_out(bench, locked, "bus_bar", 1, 2, seen=seen)
    assert told["warnings"][0].startswith("Position 2 was seen 'normal', and the type says")
    take_out(bench, locked, "module", 2, at="2024-05-02T10:10:00Z")
    refused = bench.post(URL, fit(locked, "module", 2, seen=seen))
    assert fault(refused) == (409, "/seen/0/orientation", "not_as_the_type")
    put_back(bench, locked)


def test_nuts_left_go_back_on_their_own(api: Api, opened: str) -> None:
    bench = api("bench")
    put_back(bench, opened)
    told = stored(bench, fit(opened, "bus_bar", 1, 2, minute=2))
    assert told["warnings"][-1].startswith("nut: 4 of this part left.")
    nuts = fit(opened, "bus_bar", 1, 2, minute=3, fasteners=[{**TIGHT, "count": 4}])
    assert stored(bench, nuts)["warnings"] == []
    assert bench.post(URL, {**nuts, "at": "2024-05-02T11:04:00Z"}).status_code == 409


def test_what_reads_the_wrong_way_is_told(api: Api, opened: str) -> None:
    told = stored(api("bench"), read(opened, 1, p1=-7.9))
    assert "wrong way round" in told["warnings"][0]
