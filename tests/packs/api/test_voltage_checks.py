"""voltage-checks/: what is stored, what follows from it, who may, and what no longer counts."""

import itertools
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from rest_framework.test import APIClient

from packs.models import Equipment, HistoryEntry, Pack, PackType, VoltageCheck
from packs.writes.digests import digest
from tests import world
from tests.packs.api.conftest import Api

CHECKS = "/api/v1/voltage-checks/"


@pytest.fixture
def pack(db: None) -> Pack:
    return world.pack()


@pytest.fixture
def machine(api: Api) -> APIClient:
    return api("machine")


def stored(client: APIClient, pack: Pack | str, /, **changes: Any) -> dict[str, Any]:
    response = client.post(CHECKS, world.check_body(pack, **changes))
    assert response.status_code == 201, response.content
    answer: dict[str, Any] = response.json()
    return answer


def three_modules(**changes: Any) -> PackType:
    """Three modules of six cells, so that a few figures say all."""
    return world.pack_type("NM-3", module_count=3, **{"reference_load_a": 50.0, **changes})


def test_everything_said_is_answered_as_it_was_said(api: Api, pack: Pack) -> None:
    world.person("kim")
    said = {
        "current_min_a": -0.5, "current_max_a": 0.5, "condition_s": 30.0, "rested_min": 90.0,
        "last_current": "discharge", "soc_pct": 55.5, "soc_source": "monitor",
        "temperature_c": 21.5, "temperatures_c": {"inlet": 20.0, "outlet": 23.0, "middle": 25.0},
        "odometer_km": 151_000, "taken": "one_by_one", "instrument": "bench meter 2",
        "done_by": "kim", "external_id": "logger/7", "set": "as found",
        "voltages_v": [7.9, None, -0.0001, 7.12345, *[7.9] * 24],
    }  # fmt: skip
    answer = stored(api("bench"), pack, **said)
    assert {name: answer[name] for name in said} == {
        **said,
        "voltages_v": [7.9, None, -0.0001, 7.1234, *[7.9] * 24],
    }
    assert (answer["pack"], answer["client"], answer["revision"]) == ("TP-0001", "a bench", 2)
    assert answer["taken_at"] == "2024-03-02T09:00:00Z"
    assert datetime.fromisoformat(answer["recorded_at"]) <= datetime.now(UTC)
    again = api("desk").get(f"{CHECKS}{answer['id']}/")
    assert (again.status_code, again.json()) == (200, answer)


def test_a_check_raises_the_revision_and_owes_an_estimate(machine: APIClient, pack: Pack) -> None:
    Pack.objects.update(estimate_due_at=None)
    answer = stored(machine, pack)
    pack.refresh_from_db()
    assert pack.revision == answer["revision"] == 2
    assert pack.estimate_due_at is not None
    assert pack.last_contact == world.later(days=1)
    assert pack.settled_at == datetime.fromisoformat(answer["recorded_at"])
    assert HistoryEntry.objects.count() == 1  # a check is a line of its own


def test_a_serial_is_known_whatever_the_case(machine: APIClient, pack: Pack) -> None:
    assert stored(machine, "tp-0001")["pack"] == "TP-0001"


def test_a_late_fact_is_no_error(machine: APIClient, pack: Pack) -> None:
    stored(machine, pack, taken_at=world.later(days=100).isoformat())
    late = stored(machine, pack, taken_at=world.later(days=-2000).isoformat())
    assert late["revision"] == 3
    pack.refresh_from_db()
    assert pack.last_contact == world.later(days=100)


def test_records_of_a_pack_rise_with_its_revisions_whatever_the_clock(pack: Pack) -> None:
    for hours in (30, 26, 40):
        world.check(pack, at=world.later(hours=hours))
    told = VoltageCheck.objects.order_by("revision").values_list("revision", "recorded_at")
    assert [revision for revision, _ in told] == [2, 3, 4]
    assert all(a < b for a, b in itertools.pairwise(at for _, at in told))


def test_spread_median_and_weakest(machine: APIClient, pack: Pack) -> None:
    volts = [7.9] * 27 + [7.65]
    volts[3] = 8.0
    answer = stored(machine, pack, voltages_v=volts)
    told = {name: answer[name] for name in ("spread_v", "median_v", "weakest_position", "weakest_deviation_v")}  # fmt: skip
    assert told == {"spread_v": 0.35, "median_v": 7.9, "weakest_position": 28, "weakest_deviation_v": 0.25}  # fmt: skip


@pytest.mark.parametrize(
    ("volts", "why"),
    [
        (0.0, "0 V"),
        (-7.8, "reversed"),
        (6.65, "a cell short"),
        (None, "could not be read"),
        (3.0, "flat or driven backwards"),
    ],
)
def test_what_is_strange_but_possible_is_stored_and_marked(
    machine: APIClient, pack: Pack, volts: float | None, why: str
) -> None:
    answer = stored(machine, pack, voltages_v=[7.9, 7.91, volts, *[7.9] * 25])
    (suspect,) = answer["suspect"]
    assert suspect["position"] == 3
    assert why in suspect["why"]
    assert answer["voltages_v"][2] == volts


def test_under_load_half_a_volt_a_cell_is_stored(machine: APIClient, pack: Pack) -> None:
    volts = [7.2] * 27 + [3.0]
    answer = stored(machine, pack, condition="load", current_a=20, voltages_v=volts)
    assert [suspect["position"] for suspect in answer["suspect"]] == [28]


@pytest.mark.parametrize(("level", "count"), [("block", 14), ("module", 28), ("cell", 168)])
def test_each_level_has_its_count(machine: APIClient, pack: Pack, level: str, count: int) -> None:
    volts = [round(1.32 * 168 / count, 4)] * count
    assert stored(machine, pack, level=level, voltages_v=volts)["spread_v"] == 0
    one_less = world.check_body(pack, level=level, voltages_v=volts[1:])
    assert machine.post(CHECKS, one_less).status_code == 422


# [D] rest 8.00/7.90/7.95 V with 20/10/25 mΩ: 0.10 V at 0 A, 0.10 V at 10 A, 0.70 V at 50 A;
# scaling the range at 10 A by the currents would say otherwise.
REST_V = (8.00, 7.90, 7.95)
OHMS = (0.020, 0.010, 0.025)


def under_load(current_a: float) -> list[float]:
    return [round(v - r * current_a, 4) for v, r in zip(REST_V, OHMS, strict=True)]


def pair(
    client: APIClient, pack: Pack, current_a: float, *, apart: float = 10.0, **sets: Any
) -> tuple[dict[str, Any], dict[str, Any]]:
    rest = stored(client, pack, voltages_v=list(REST_V), temperature_c=25, set=sets.get("rest"))
    taken_at = (world.later(days=1) + timedelta(minutes=apart)).isoformat()
    load = stored(
        client, pack, condition="load", current_a=current_a, voltages_v=under_load(current_a),
        taken_at=taken_at, temperature_c=25, set=sets.get("load"),
    )  # fmt: skip
    return rest, load


@pytest.mark.parametrize(
    ("reference_a", "measured_a", "at_rest", "measured", "at_reference"),
    [(10.0, 10.0, 0.10, 0.10, 0.10), (50.0, 50.0, 0.10, 0.70, 0.70), (50.0, 40.0, 0.10, 0.55, 0.70)],
)  # fmt: skip
def test_each_position_is_brought_to_the_reference_first(
    machine: APIClient, db: None, reference_a: float, measured_a: float, at_rest: float,
    measured: float, at_reference: float,
) -> None:  # fmt: skip
    pack = world.pack(kind=three_modules(reference_load_a=reference_a))
    rest, load = pair(machine, pack, measured_a)
    assert rest["spread_v"] == pytest.approx(at_rest, abs=1e-9)
    assert rest["spread_at_reference_v"] is None
    assert "under load" in rest["not_comparable"]
    assert load["spread_v"] == pytest.approx(measured, abs=1e-9)
    assert load["spread_at_reference_v"] == pytest.approx(at_reference, abs=1e-9)
    assert load["not_comparable"] is None


def test_by_more_than_half_again_nothing_is_compared(machine: APIClient, db: None) -> None:
    pack = world.pack(kind=three_modules())
    _, load = pair(machine, pack, 30.0)
    assert load["spread_at_reference_v"] is None
    assert "1.5 times" in load["not_comparable"]


@pytest.mark.parametrize(
    ("apart", "sets", "paired"),
    [
        (59.0, {}, True),
        (-60.0, {}, True),
        (61.0, {}, False),
        (2000.0, {"rest": "go 1", "load": "go 1"}, True),
        (1.0, {"rest": "go 1", "load": "go 2"}, False),
        (1.0, {"load": "go 1"}, False),
        (1.0, {"rest": "go 1"}, True),
        (61.0, {"rest": "go 1"}, False),
    ],
)
def test_which_rest_check_a_load_check_pairs_with(
    machine: APIClient, db: None, apart: float, sets: dict[str, str], paired: bool
) -> None:
    pack = world.pack(kind=three_modules())
    _, load = pair(machine, pack, 40.0, apart=apart, **sets)
    assert (load["spread_at_reference_v"] is not None) is paired
    assert ("no rest check pairs" in (load["not_comparable"] or "")) is not paired


def test_a_rest_check_that_comes_late_pairs_as_well(machine: APIClient, db: None) -> None:
    pack = world.pack(kind=three_modules())
    load = stored(machine, pack, condition="load", current_a=40.0, voltages_v=under_load(40.0))
    assert load["spread_at_reference_v"] is None
    stored(machine, pack, voltages_v=list(REST_V))
    assert machine.get(f"{CHECKS}{load['id']}/").json()["spread_at_reference_v"] == 0.7


def test_a_voided_rest_check_pairs_no_longer(api: Api, db: None) -> None:
    rest, load = pair(api(), world.pack(kind=three_modules()), 40.0)
    assert api().post(f"{CHECKS}{rest['id']}/void/", {"reason": "wrong lead"}).status_code == 200
    assert api().get(f"{CHECKS}{load['id']}/").json()["spread_at_reference_v"] is None


def test_the_cars_own_numbers_are_put_in_order_of_position(machine: APIClient, db: None) -> None:
    pack = world.pack(kind=three_modules(monitor_order=[3, 1, 2]))
    answer = stored(machine, pack, order="monitor", voltages_v=[7.3, 7.1, 7.2])
    assert (answer["voltages_v"], answer["order"]) == ([7.1, 7.2, 7.3], "position")
    refused = world.check_body(pack, order="monitor", voltages_v=[7.3, 17.1, 7.2])
    errors = machine.post(CHECKS, refused).json()["errors"]
    assert "position 1" in errors[0]["detail"]


def test_an_overdue_meter_is_a_warning(machine: APIClient, pack: Pack) -> None:
    due = world.later(days=0).date()
    content = {"code": "meter-2", "kind": "meter", "due_on": due}
    Equipment.objects.create(**content, **world.posted(digest(content)))
    (warning,) = stored(machine, pack, equipment="meter-2")["warnings"]
    assert "meter-2" in warning
    assert stored(machine, pack, equipment="meter-2", taken_at=world.BEGUN.isoformat())["warnings"] == []  # fmt: skip


def test_a_correction_takes_the_place_of_the_record(api: Api, pack: Pack) -> None:
    first = stored(api(), pack)
    second = stored(api(), pack, supersedes=first["id"], current_a=0.5)
    assert (second["supersedes"], second["revision"]) == (first["id"], 3)
    old = api().get(f"{CHECKS}{first['id']}/").json()
    assert (old["voided_at"], old["void_reason"]) == (second["recorded_at"], "superseded")
    manager, before = api(), world.contents()
    third = manager.post(CHECKS, world.check_body(pack, supersedes=first["id"], current_a=0.7))
    assert (third.status_code, third.json()["errors"][0]["pointer"]) == (409, "/supersedes")
    assert world.contents() == before


def test_a_correction_of_another_pack_is_refused(api: Api, pack: Pack) -> None:
    first = stored(api(), pack)
    other = world.pack("TP-0002")
    manager, before = api(), world.contents()
    response = manager.post(CHECKS, world.check_body(other, supersedes=first["id"]))
    assert response.status_code == 422
    assert response.json()["errors"][0]["code"] == "other_pack"
    assert world.contents() == before


def test_voiding_needs_a_reason_and_happens_once(api: Api, pack: Pack) -> None:
    path = f"{CHECKS}{stored(api(), pack)['id']}/void/"
    for body in ({}, {"reason": ""}, {"reason": "  "}, {"reason": 7}, {"why": "x"}):
        assert api().post(path, body).status_code == 400
    voided = api().post(path, {"reason": "wrong car"})
    assert (voided.status_code, voided.json()["void_reason"]) == (200, "wrong car")
    manager, before = api(), world.contents()
    again = manager.post(path, {"reason": "again"})
    assert (again.status_code, again.json()["errors"][0]["code"]) == (409, "already_voided")
    assert world.contents() == before
    pack.refresh_from_db()
    assert pack.revision == 3


def test_the_bench_voids_its_own_of_the_same_day(api: Api, pack: Pack) -> None:
    old = world.check(pack, by=world.actor("bench", "a bench"))
    own = stored(api("bench"), pack)
    others = stored(api("bench", "another bench"), pack)
    say = {"reason": "slipped lead"}
    assert api("bench").post(f"{CHECKS}{own['id']}/void/", say).status_code == 200
    assert api("bench").post(f"{CHECKS}{others['id']}/void/", say).status_code == 403
    listed = api().get(CHECKS, {"recorded_until": "2025-01-01T00:00:00Z"}).json()["results"]
    assert [check["revision"] for check in listed] == [old.revision]
    assert api("bench").post(f"{CHECKS}{listed[0]['id']}/void/", say).status_code == 403
    assert api("desk").post(f"{CHECKS}{listed[0]['id']}/void/", say).status_code == 403
    assert api("machine").post(f"{CHECKS}{listed[0]['id']}/void/", say).status_code == 403
    assert api().post(f"{CHECKS}{listed[0]['id']}/void/", say).status_code == 200


@pytest.mark.parametrize(("role", "status"), [("desk", 403), ("bench", 201), ("manager", 201), ("machine", 201)])  # fmt: skip
def test_who_may_write_and_who_may_read(api: Api, pack: Pack, role: str, status: int) -> None:
    before = world.contents()
    client = api(role)
    unwritten = world.contents()
    assert client.post(CHECKS, world.check_body(pack)).status_code == status
    assert (world.contents() == unwritten) is (status == 403)
    assert before != unwritten  # the token itself
    assert client.get(CHECKS).status_code == 200


def test_filters_and_orderings(api: Api, pack: Pack) -> None:
    other = world.pack("TP-0002")
    a = world.check(pack, set="go 1")
    b = world.check(pack, [7.9] * 27 + [7.5], taken_at=world.later(days=3), condition="load", current_a=20.0)  # fmt: skip
    c = world.check(other, [15.8] * 14, taken_at=world.later(days=2), level="block", external_id="x")  # fmt: skip
    desk = api("desk")

    def found(**query: str) -> list[int]:
        results = desk.get(CHECKS, query).json()["results"]
        return [by_revision[r["pack"], r["revision"]] for r in results]

    by_revision = {(x.pack.serial, x.revision): x.pk for x in (a, b, c) if x.pack is not None}
    assert found() == [b.pk, c.pk, a.pk]
    assert found(ordering="taken_at") == [a.pk, c.pk, b.pk]
    assert found(ordering="-spread_v")[0] == b.pk
    assert found(pack="tp-0001") == [b.pk, a.pk]
    assert found(level="block") == found(external_id="x") == [c.pk]
    assert found(condition="load") == [b.pk]
    assert found(set="go 1") == [a.pk]
    assert found(taken_since="2024-03-03T09:00:00Z", taken_until="2024-03-03T09:00:00Z") == [c.pk]
    assert found(recorded_since="2024-03-04T00:00:00Z") == [b.pk]
    assert found(visit="vi_00000000") == []
    assert found(voided="true") == []
    assert len(found(voided="false")) == 3


def test_pages_lead_through_everything_once(api: Api, pack: Pack) -> None:
    for hour in range(7):
        world.check(pack, taken_at=world.later(hours=hour // 3))
    desk, seen = api("desk"), []
    page = desk.get(CHECKS, {"page_size": "3"}).json()
    assert page["previous"] is None
    while True:
        seen += [check["revision"] for check in page["results"]]
        if page["next"] is None:
            break
        back = page
        page = desk.get(page["next"]).json()
        assert desk.get(page["previous"]).json()["results"] == back["results"]
    assert sorted(seen) == list(range(2, 9))


def test_a_fault_in_the_order_of_the_monitor_is_pointed_at_where_it_was_sent(api: Api) -> None:
    kind = world.pack_type("MON", monitor_order=list(range(14, 0, -1)))
    pack = world.pack("TP-9", kind)
    volts = [15.5] * 13 + [30.0]
    body = world.check_body(pack, level="block", order="monitor", voltages_v=volts)
    refused = api().post(CHECKS, body, format="json")
    assert refused.status_code == 422
    assert refused.json()["errors"][0]["pointer"] == "/voltages_v/13"


def test_a_current_range_runs_upwards(api: Api, pack: Pack) -> None:
    body = world.check_body(pack, current_min_a=2.0, current_max_a=1.0)
    refused = api().post(CHECKS, body, format="json")
    assert refused.status_code == 422
    assert refused.json()["errors"][0]["code"] == "min_above_max"
