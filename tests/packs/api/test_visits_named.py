"""Facts that name a visit: of their own pack, of its car, never of another pack."""

from typing import Any

import pytest

from packs.models import Pack
from tests import world
from tests.browser.shop import picture
from tests.packs.api.conftest import Api
from tests.world import later

pytestmark = pytest.mark.django_db
VIN, EMPTY_VIN = "TST12345678900001", "TST12345678900002"
BODIES: list[tuple[str, dict[str, Any]]] = [
    ("calls", {"reason": "core", "outcome": "reached", "at": later(days=5).isoformat()}),
    ("cores", {"deposit": 350, "due_on": "2024-04-01"}),
    ("photos", {"image": picture(), "at": later(days=5).isoformat()}),
]


@pytest.fixture(autouse=True)
def packs(api: Api) -> None:
    """A car in which TP-OLD gave way to TP-NEW, an empty car, and a pack of neither."""
    for serial in ("TP-OLD", "TP-NEW", "TP-OTHER"):
        world.pack(serial)
    client = api("desk")
    for vin in (VIN, EMPTY_VIN):
        assert client.post("/api/v1/vehicles/", {"vin": vin}).status_code == 201
    put = {"vehicle": VIN, "installed_at": later(days=-90).isoformat()}
    gone = {**put, "pack": "TP-OLD", "removed_at": later(days=2).isoformat()}
    new = {**put, "pack": "TP-NEW", "installed_at": later(days=2).isoformat()}
    for body in (gone, new):
        assert client.post("/api/v1/installations/", body).status_code == 201


def opened(api: Api, **body: Any) -> str:
    told = {"opened_at": later(days=3).isoformat(), **body}
    return str(api("desk").post("/api/v1/visits/", told).json()["id"])


@pytest.mark.parametrize(("resource", "body"), BODIES)
def test_a_visit_of_another_pack_is_refused(api: Api, resource: str, body: dict[str, Any]) -> None:
    client, address = api("desk"), f"/api/v1/{resource}/"
    of_car, of_pack = opened(api, vehicle=VIN), opened(api, pack="TP-NEW")
    for serial, visit in (("TP-OTHER", of_car), ("TP-OTHER", of_pack), ("TP-OLD", of_pack)):
        before = world.contents()
        answer = client.post(address, {**body, "pack": serial, "visit": visit})
        (fault,) = answer.json()["errors"]
        assert (answer.status_code, fault["pointer"]) == (422, "/visit")
        assert fault["code"] == "visit_of_another_pack"
        assert world.contents() == before


@pytest.mark.parametrize(("resource", "body"), BODIES)
def test_its_own_visit_that_of_its_old_car_and_that_of_a_car_alone_are_taken(
    api: Api, resource: str, body: dict[str, Any]
) -> None:
    client, address = api("desk"), f"/api/v1/{resource}/"
    of_car, alone = opened(api, vehicle=VIN), opened(api, vehicle=EMPTY_VIN)
    for serial, visit in (("TP-NEW", of_car), ("TP-OLD", of_car), ("TP-OTHER", alone)):
        answer = client.post(address, {**body, "pack": serial, "visit": visit})
        assert (answer.status_code, answer.json()["visit"]) == (201, visit)


def test_the_photographs_of_a_core_are_of_its_pack(api: Api) -> None:
    client = api("manager")
    taken = {"at": later(days=5).isoformat(), "image": picture()}
    own, other = (
        client.post("/api/v1/photos/", {**taken, "pack": serial}).json()["id"]
        for serial in ("TP-OLD", "TP-NEW")
    )
    body = {**BODIES[1][1], "pack": "TP-OLD"}
    refused = client.post("/api/v1/cores/", {**body, "photos": [own, other]})
    (fault,) = refused.json()["errors"]
    assert (refused.status_code, fault["pointer"]) == (422, "/photos/1")
    assert fault["code"] == "photo_of_another_pack"
    taken_in = client.post("/api/v1/cores/", {**body, "photos": [own]})
    assert taken_in.json()["photos"] == [own]
    assert Pack.objects.count() == 3
