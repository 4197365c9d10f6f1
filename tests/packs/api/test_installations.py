"""installations/: a pack is in one car at a time, for every instant of the past too."""

from datetime import date
from typing import Any

import pytest
from rest_framework.test import APIClient

from packs.models import HistoryEntry, Installation, Pack
from tests import world
from tests.packs.api.conftest import Api
from tests.packs.api.test_pack_types import fault

URL = "/api/v1/installations/"
VIN, OTHER = "1" * 17, "1M8GDM9AXKP042788"


@pytest.fixture
def desk(api: Api) -> APIClient:
    """A desk in a shop with one pack and two cars."""
    world.pack(built_on=date(2018, 1, 1))
    client = api("desk")
    for vin in (VIN, OTHER):
        assert client.post("/api/v1/vehicles/", {"vin": vin}).status_code == 201
    return client


def body(installed: str = "2024-01-01", removed: str | None = None, **more: Any) -> dict[str, Any]:
    """An installation from one day on, and perhaps to another."""
    ends = None if removed is None else f"{removed}T12:00:00Z"
    begins = f"{installed}T12:00:00Z"
    return {
        "pack": "TP-0001",
        "vehicle": VIN,
        "installed_at": begins,
        "removed_at": ends,
        **more,
    }


def test_an_installation_is_a_fact_of_the_pack(desk: APIClient) -> None:
    response = desk.post(URL, body(vehicle=VIN, installed_km=120000))
    assert response.status_code == 201
    told = response.json()
    assert response["Location"] == f"{URL}{told['id']}/"
    assert (told["pack"], told["vehicle"], told["installed_km"]) == ("TP-0001", VIN, 120000)
    assert (told["removed_at"], told["revision"]) == (None, 2)
    line = HistoryEntry.objects.get(revision=2)
    assert (line.kind, line.summary) == ("installation", f"Put into {VIN} at 120000 km")
    assert desk.get(f"{URL}{told['id']}/").json() == told


def test_the_same_again_is_known_and_other_content_is_a_conflict(desk: APIClient) -> None:
    first = desk.post(URL, body(external_id="i-1")).json()
    again = desk.post(URL, body(external_id="i-1", removed_km=None))
    assert (again.status_code, again.json()) == (200, first)
    before = world.contents()
    other = desk.post(URL, body("2024-01-02", external_id="i-1"))
    assert fault(other) == (409, "/external_id", "external_id_taken")
    assert world.contents() == before


@pytest.mark.parametrize(
    ("installed", "removed"),
    [
        ("2024-02-01", None),
        ("2023-01-01", None),
        ("2023-01-01", "2024-02-01"),
        ("2024-02-01", "2024-02-02"),
    ],
)
def test_a_pack_is_in_one_car_at_a_time(
    desk: APIClient, installed: str, removed: str | None
) -> None:
    desk.post(URL, body("2024-01-01", "2024-03-01"))
    before = world.contents()
    response = desk.post(URL, body(installed, removed, vehicle=OTHER))
    assert fault(response) == (409, "/pack", "pack_in_another_vehicle")
    assert world.contents() == before


def test_one_car_after_the_other_is_fine(desk: APIClient) -> None:
    assert desk.post(URL, body("2024-01-01", "2024-03-01")).status_code == 201
    assert desk.post(URL, body("2024-03-01", vehicle=OTHER)).status_code == 201
    assert desk.post(URL, body("2023-01-01", "2024-01-01", vehicle=OTHER)).status_code == 201


def test_a_removal_takes_the_place_of_the_installation(desk: APIClient) -> None:
    first = desk.post(URL, body(installed_km=10)).json()
    said = body(removed="2024-06-01", installed_km=10, removed_km=900, supersedes=first["id"])
    second = desk.post(URL, said)
    assert second.status_code == 201
    assert second.json()["supersedes"] == first["id"]
    old = desk.get(f"{URL}{first['id']}/").json()
    assert old["voided_at"] is not None
    assert old["void_reason"] == "superseded"
    line = HistoryEntry.objects.get(revision=3)
    assert line.summary == f"Put into {VIN} at 10 km, taken out 2024-06-01 at 900 km"
    seen = Pack.objects.get().last_contact
    assert seen is not None
    assert seen.date().isoformat() == "2024-06-01"
    assert desk.post(URL, body("2024-06-01", vehicle=OTHER)).status_code == 201


@pytest.mark.parametrize(
    ("changes", "refusal"),
    [
        ({"pack": "none"}, (422, "/pack", "unknown_pack")),
        ({"vehicle": "none"}, (422, "/vehicle", "unknown_vehicle")),
        ({"installed_at": "2100-01-01T00:00:00Z"}, (422, "/installed_at", "in_the_future")),
        ({"installed_at": "2017-01-01T00:00:00Z"}, (422, "/installed_at", "before_built")),
        ({"removed_at": "2100-01-01T00:00:00Z"}, (422, "/removed_at", "in_the_future")),
        ({"removed_at": "2023-01-01T00:00:00Z"}, (422, "/removed_at", "ends_before_it_begins")),
        ({"removed_at": "2024-01-01T12:00:00Z"}, (422, "/removed_at", "ends_before_it_begins")),
        ({"removed_km": 5}, (422, "/removed_km", "not_removed")),
        ({"installed_km": 3_000_001}, (422, "/installed_km", "max_value")),
        ({"installed_km": 1.5}, (400, "/installed_km", "not_whole")),
        ({"supersedes": "in_00000000"}, (422, "/supersedes", "unknown_installation")),
        (
            {"removed_at": "2024-02-01T00:00:00Z", "removed_km": 5, "installed_km": 9},
            (422, "/removed_km", "odometer_runs_back"),
        ),
    ],
)
def test_what_can_not_be_is_refused(
    desk: APIClient, changes: dict[str, Any], refusal: tuple[int, str, str]
) -> None:
    before = world.contents()
    assert fault(desk.post(URL, body(**changes))) == refusal
    assert world.contents() == before


def test_a_void_frees_the_pack(desk: APIClient, api: Api) -> None:
    first = desk.post(URL, body()).json()
    address = f"{URL}{first['id']}/void/"
    assert desk.post(address, {"reason": "wrong car"}).status_code == 403
    manager = api("manager")
    voided = manager.post(address, {"reason": "wrong car"})
    assert (voided.status_code, voided.json()["void_reason"]) == (200, "wrong car")
    assert manager.post(address, {"reason": "again"}).status_code == 409
    assert manager.get("/api/v1/packs/TP-0001/").json()["vehicle"] is None
    assert desk.post(URL, body(vehicle=OTHER)).status_code == 201


@pytest.mark.parametrize(("role", "reads"), [("bench", 200), ("machine", 403)])
def test_only_the_office_writes(desk: APIClient, api: Api, role: str, reads: int) -> None:
    client = api(role)
    before = world.contents()
    assert client.get(URL).status_code == reads
    assert client.post(URL, body()).status_code == 403
    assert world.contents() == before


def test_lists_are_filtered_and_paged(desk: APIClient) -> None:
    desk.post(URL, body("2024-01-01", "2024-03-01"))
    desk.post(URL, body("2024-03-01", vehicle=OTHER))

    def cars(**asked: Any) -> list[str]:
        return [row["vehicle"] for row in desk.get(URL, asked).json()["results"]]

    assert cars(pack="tp-0001") == [OTHER, VIN]
    assert cars(vehicle=VIN) == cars(present="false") == cars(at="2024-02-01T00:00:00Z") == [VIN]
    assert cars(present="true") == cars(at="2024-03-01T12:00:00Z") == [OTHER]
    assert cars(ordering="installed_at", page_size=1) == [VIN]
    assert Installation.objects.count() == 2
