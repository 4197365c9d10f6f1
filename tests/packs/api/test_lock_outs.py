"""lock-outs/: the car side proved dead, the pack side declared live."""

from typing import Any

import pytest
from django.utils import timezone
from rest_framework.test import APIClient

from packs.models import Equipment, HistoryEntry, LockOut
from tests import world
from tests.packs.api.conftest import Api
from tests.packs.api.test_pack_types import fault

URL = "/api/v1/lock-outs/"
RE_ENERGISINGS = "/api/v1/re-energisings/"
BENCH = {"switch_after": 10, "waits": {"discharge_min": 10}}


def equip(code: str, kind: str, **changes: Any) -> Equipment:
    """A tool as the register keeps it, tested when the shop began."""
    tested = {"checked_on": world.BEGUN.date(), **changes}
    return Equipment.objects.create(code=code, kind=kind, **tested, **world.posted(b"-"))


def make_tools() -> None:
    """A meter, and gloves that are in date on the day of the work."""
    equip("DMM-1", "meter")
    equip("G-1", "gloves", rating="class 0", issued_on=world.later(days=30).date())


@pytest.fixture
def visit(api: Api) -> str:
    """A visit of a pack whose type says where its switch sits, with people and tools."""
    world.pack(kind=world.pack_type(bench=BENCH))
    for code in ("kim", "lee"):
        world.person(code)
    make_tools()
    return opened(api("desk"))


def opened(desk: APIClient, **said: Any) -> str:
    said = {"pack": "TP-0001", "opened_at": "2024-05-01T08:00:00Z", **said}
    told: str = desk.post("/api/v1/visits/", said).json()["id"]
    return told


def body(visit: str, /, **changes: Any) -> dict[str, Any]:
    """A lock-out as it should be."""
    done = dict.fromkeys(("key_away", "twelve_v_off", "switch_out", "covers"), True)
    worn = ("gloves_air_tested", "protectors", "eye_protection", "insulated_tools")
    return {
        "visit": visit,
        "done_by": "kim",
        "at": "2024-05-02T09:00:00Z",
        "done": done,
        "switch_kept_by": "kim",
        "waited_min": 12,
        "meter": "DMM-1",
        "source_v": 12.6,
        "source_before_v": 12.6,
        "readings": {"plus_minus_v": 0.4, "plus_case_v": 0.1, "minus_case_v": -0.2},
        "source_after_v": 12.5,
        "gloves": "G-1",
        "worn": dict.fromkeys(worn, True),
        **changes,
    }


def ended(visit: str, /, **changes: Any) -> dict[str, Any]:
    """A re-energising as it should be."""
    done = ("tools_out", "tools_counted", "covers_on", "everybody_clear")
    said = {"visit": visit, "done_by": "kim", "at": "2024-05-02T15:00:00Z"}
    return {**said, "done": dict.fromkeys(done, True), **changes}


def test_a_lock_out_says_what_is_dead_and_what_stays_live(api: Api, visit: str) -> None:
    """28 modules of 6 cells, parted 10 and 18: 18 of 6 at 1.6 V a cell are 172.8 V."""
    said = body(visit, note="two of us", second_person="lee")
    response = api("bench").post(URL, said)
    assert response.status_code == 201, response.content
    told = response.json()
    assert {name: told[name] for name in said} == said
    assert told["pack_side"] == {
        "highest_v": pytest.approx(172.8),
        "first": 11,
        "last": 28,
        "said": "The pack side stays live: up to 172.8 V between the ends of the largest piece "
        "still joined (modules 11 to 28).",
    }
    assert (told["touch_limit_v"], told["stands"], told["findings"]) == (50.0, True, [])
    assert (told["warnings"], told["pack"]) == ([], "TP-0001")
    line = HistoryEntry.objects.get(kind="lock_out")
    assert line.summary.startswith("Lock-out: car side at most 0.4 V. The pack side stays live")
    assert api("desk").get(response["Location"]).json() == told


def test_what_was_measured_does_not_lower_what_is_declared_live(api: Api, visit: str) -> None:
    check = world.check_body("TP-0001", taken_at="2024-05-01T09:00:00Z", voltages_v=[7.9] * 28)
    assert api("bench").post("/api/v1/voltage-checks/", check).status_code == 201
    told = api("bench").post(URL, body(visit)).json()
    assert told["pack_side"]["highest_v"] == pytest.approx(18 * 9.6)


def test_a_car_side_well_above_zero_is_a_finding(api: Api, visit: str) -> None:
    readings = {"plus_minus_v": 31.0, "plus_case_v": 0.2, "minus_case_v": 0.1}
    told = api("bench").post(URL, body(visit, readings=readings)).json()
    (finding,) = told["findings"]
    assert finding.startswith("After 12 min the car side still shows 31 V plus to minus")


def test_warnings_are_kept_as_they_were(api: Api, visit: str) -> None:
    """Gloves nobody issued: told, and still told when that was mended."""
    Equipment.objects.filter(code="G-1").update(issued_on=None)
    told = api("bench").post(URL, body(visit)).json()
    assert [warning.split()[0] for warning in told["warnings"]] == ["No"]
    Equipment.objects.update(due_on=world.later(days=900).date(), issued_on=world.BEGUN.date())
    assert api("bench").get(f"{URL}{told['id']}/").json() == told


def test_a_meter_that_is_overdue_proves_nothing_dead(api: Api, visit: str) -> None:
    meter = Equipment.objects.filter(code="DMM-1")
    meter.update(due_on=world.later(days=61).date())
    assert fault(api("bench").post(URL, body(visit))) == (409, "/meter", "equipment_overdue")
    assert not LockOut.objects.exists()
    meter.update(due_on=world.later(days=62).date())
    assert api("bench").post(URL, body(visit)).status_code == 201


def test_a_type_that_says_nothing_is_told_and_the_whole_string_counts(api: Api) -> None:
    world.pack()
    world.person("kim")
    make_tools()
    told = api("bench").post(URL, body(opened(api("desk")))).json()
    assert told["pack_side"]["highest_v"] == pytest.approx(28 * 6 * 1.6)
    assert len(told["warnings"]) == 2


def test_sent_twice_it_is_there_once_whatever_came_between(api: Api, visit: str) -> None:
    """Without a time it was done now, the first time it was sent."""
    today = timezone.localdate()
    Equipment.objects.filter(code="G-1").update(checked_on=today, issued_on=today)
    bench, said = api("bench"), body(visit, external_id="l-1")
    del said["at"]
    first = bench.post(URL, said)
    check = world.check_body("TP-0001", taken_at="2024-05-01T09:00:00Z", voltages_v=[7.9] * 28)
    assert bench.post("/api/v1/voltage-checks/", check).status_code == 201
    Equipment.objects.filter(code="G-1").update(bad_since=world.BEGUN.date())
    again = bench.post(URL, said)
    assert (first.status_code, again.status_code) == (201, 200), again.content
    assert first.json() == again.json()
    other = bench.post(URL, {**said, "note": "other"})
    assert fault(other) == (409, "/external_id", "external_id_taken")
    assert LockOut.objects.count() == 1


def test_a_correction_takes_the_place_of_the_lock_out_that_stands(api: Api, visit: str) -> None:
    bench = api("bench")
    first = bench.post(URL, body(visit)).json()["id"]
    again = bench.post(URL, body(visit, supersedes=first, waited_min=15))
    assert again.status_code == 201, again.content
    assert [bench.get(f"{URL}{key}/").json()["stands"] for key in (first, again.json()["id"])] == [
        False,
        True,
    ]


def test_roles_and_filters(api: Api, visit: str) -> None:
    for role in ("desk", "machine"):
        assert api(role).post(URL, body(visit)).status_code == 403
    one = api("bench").post(URL, body(visit)).json()["id"]

    def found(**asked: Any) -> list[str]:
        return [row["id"] for row in api("desk").get(URL, asked).json()["results"]]

    assert found(visit=visit) == found(stands="true") == found(pack="tp-0001") == [one]
    assert found(stands="false") == found(since="2024-05-03T00:00:00Z") == []
    assert api("bench").post(RE_ENERGISINGS, ended(visit)).status_code == 201
    two = api("bench").post(URL, body(visit, at="2024-05-03T09:00:00Z")).json()["id"]
    assert found() == [two, one]
    assert (found(stands="true"), found(stands="false")) == ([two], [one])


def test_a_list_asks_the_database_a_fixed_number_of_times(
    api: Api, visit: str, django_assert_num_queries: Any
) -> None:
    bench = api("bench")
    counts = []
    for number in range(1, 4):
        day = f"2024-05-{number + 1:02}T"
        assert bench.post(URL, body(visit, at=f"{day}09:00:00Z")).status_code == 201
        assert bench.post(RE_ENERGISINGS, ended(visit, at=f"{day}15:00:00Z")).status_code == 201
        with django_assert_num_queries(7, exact=False) as asked:
            assert len(bench.get(URL).json()["results"]) == number
        counts.append(len(asked))
    assert counts[0] == counts[-1]
