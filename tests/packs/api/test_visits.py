"""visits/: one time that a pack or a car is in the shop."""

from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone

from packs.models import HistoryEntry, Pack, Visit
from tests import world
from tests.packs.api.conftest import Api
from tests.packs.api.test_pack_types import fault

URL = "/api/v1/visits/"
VIN = "1" * 17


@pytest.fixture(autouse=True)
def a_pack_and_a_car(api: Api) -> None:
    world.pack()
    assert api("desk").post("/api/v1/vehicles/", {"vin": VIN}).status_code == 201


def installed(api: Api, days_ago: float, serial: str = "TP-0001", **more: Any) -> dict[str, Any]:
    at = (timezone.now() - timedelta(days=days_ago)).isoformat()
    body = {"pack": serial, "vehicle": VIN, "installed_at": at, **more}
    response = api("desk").post("/api/v1/installations/", body)
    assert response.status_code == 201
    told: dict[str, Any] = response.json()
    return told


def test_a_visit_raises_the_revision_of_its_pack(api: Api) -> None:
    said = {
        "pack": "tp-0001",
        "opened_at": "2024-05-01T08:00:00+02:00",
        "complaint": "red triangle",
        "odometer_km": 180000,
    }
    response = api("bench").post(URL, said)
    assert response.status_code == 201
    told = response.json()
    assert response["Location"] == f"{URL}{told['id']}/"
    assert (told["pack"], told["vehicle"], told["state"]) == ("TP-0001", None, "open")
    assert (told["complaint"], told["odometer_km"], told["revision"]) == (
        "red triangle",
        180000,
        2,
    )
    pack = Pack.objects.get()
    assert pack.revision == 2
    assert pack.last_contact == Visit.objects.get().opened_at
    line = HistoryEntry.objects.get(revision=2)
    assert (line.kind, line.summary) == ("visit", "Visit opened: red triangle")
    assert line.happened_at == Visit.objects.get().opened_at
    assert api("bench").get(f"{URL}{told['id']}/").json() == told


def test_the_pack_in_the_car_comes_with_it(api: Api) -> None:
    installed(api, 10)
    told = api("desk").post(URL, {"vehicle": VIN}).json()
    assert (told["vehicle"], told["pack"]) == (VIN, "TP-0001")
    assert Pack.objects.get().revision == 3
    early = (timezone.now() - timedelta(days=20)).isoformat()
    assert api("desk").post(URL, {"vehicle": VIN, "opened_at": early}).json()["pack"] is None
    assert Pack.objects.get().revision == 3


def test_a_visit_is_of_something_known_and_not_ahead_of_the_clock(api: Api) -> None:
    desk, before = api("desk"), world.contents()
    ahead = (timezone.now() + timedelta(minutes=6)).isoformat()
    refusals: list[tuple[dict[str, Any], tuple[int, str, str]]] = [
        ({}, (422, "", "visit_of_nothing")),
        ({"vehicle": None, "pack": None}, (422, "", "visit_of_nothing")),
        ({"pack": "none"}, (422, "/pack", "unknown_pack")),
        ({"vehicle": "none"}, (422, "/vehicle", "unknown_vehicle")),
        ({"pack": "TP-0001", "opened_at": ahead}, (422, "/opened_at", "in_the_future")),
        ({"vehicle": VIN, "opened_at": ahead}, (422, "/opened_at", "in_the_future")),
        ({"pack": "TP-0001", "site": "none"}, (422, "/site", "unknown_site")),
        ({"pack": "TP-0001", "state": "lost"}, (400, "/state", "not_a_choice")),
        ({"pack": "TP-0001", "reason": "x"}, (400, "/reason", "unknown_field")),
    ]
    for body, refusal in refusals:
        assert fault(desk.post(URL, body)) == refusal
    assert world.contents() == before


def test_the_same_external_id_again_is_known(api: Api) -> None:
    desk = api("desk", "one office")
    said = {"pack": "TP-0001", "external_id": "j-1", "complaint": ""}
    first = desk.post(URL, said).json()
    again = desk.post(URL, {"pack": "TP-0001", "external_id": "j-1", "vehicle": None})
    assert (again.status_code, again.json()) == (200, first)
    before = world.contents()
    other = desk.post(URL, {**said, "complaint": "noise"})
    assert fault(other) == (409, "/external_id", "external_id_taken")
    assert world.contents() == before
    assert api("desk", "another").post(URL, said).status_code == 201


def test_a_change_is_noted_in_the_history_of_the_pack(api: Api) -> None:
    bench = api("bench")
    address = f"{URL}{bench.post(URL, {'pack': 'TP-0001'}).json()['id']}/"
    changes = {"state": "closed", "odometer_km": 9}
    assert bench.patch(address, changes).status_code == 428
    assert bench.patch(address, changes, headers={"If-Match": '"7"'}).status_code == 412
    assert Pack.objects.get().revision == 2
    changed = bench.patch(address, changes, headers={"If-Match": '"1"'})
    assert (changed.status_code, changed["ETag"]) == (200, '"2"')
    assert (changed.json()["state"], changed.json()["odometer_km"]) == ("closed", 9)
    line = HistoryEntry.objects.get(revision=3)
    assert (line.action, line.summary) == ("changed", "Visit changed: open → closed, 9 km")
    wrong = bench.patch(address, {"pack": "X"}, headers={"If-Match": '"2"'})
    assert fault(wrong) == (400, "/pack", "unknown_field")


def test_programs_do_not_see_visits(api: Api) -> None:
    machine = api("machine")
    before = world.contents()
    assert machine.get(URL).status_code == 403
    assert machine.post(URL, {"pack": "TP-0001"}).status_code == 403
    assert world.contents() == before


def test_lists_are_filtered_ordered_and_paged(api: Api) -> None:
    desk = api("desk")
    for day in (1, 2, 3):
        opened = f"2024-05-0{day}T08:00:00Z"
        desk.post(URL, {"pack": "TP-0001", "opened_at": opened, "complaint": str(day)})
    desk.post(URL, {"vehicle": VIN, "opened_at": "2024-05-04T08:00:00Z", "state": "ready"})

    def told(**asked: Any) -> list[str]:
        return [row["complaint"] for row in desk.get(URL, asked).json()["results"]]

    assert told(pack="tp-0001") == ["3", "2", "1"]
    assert told(vehicle=VIN) == told(state="ready") == [""]
    assert told(opened_since="2024-05-02T00:00:00Z", opened_until="2024-05-03T00:00:00Z") == ["2"]
    page = desk.get(URL, {"page_size": "3", "ordering": "opened_at"}).json()
    assert [row["complaint"] for row in page["results"]] == ["1", "2", "3"]
    assert len(desk.get(page["next"]).json()["results"]) == 1
    assert desk.get(URL + "vi_00000000/").status_code == 404
