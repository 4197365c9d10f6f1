"""vehicles/: cars by VIN, and whose they are for those who may know."""

from typing import Any

import pytest

from packs.models import Edit, Ownership, Vehicle
from tests import world
from tests.packs.api.conftest import Api
from tests.packs.api.test_pack_types import fault

URL = "/api/v1/vehicles/"
VIN = "1M8GDM9AXKP042788"  # the worked sample of 49 CFR 565.15(c)


def customer(api: Api, name: str) -> str:
    told: str = api("desk").post("/api/v1/customers/", {"name": name}).json()["id"]
    return told


def test_a_vehicle_is_stored_under_its_vin(api: Api) -> None:
    said = {"vin": "1m8gdm9a-xkp042788", "plate": "ab-12 cd", "model_year": 2016}
    response = api("desk").post(URL, said)
    assert (response.status_code, response["Location"]) == (201, f"{URL}{VIN}/")
    told = response.json()
    assert (told["vin"], told["plate"], told["model_year"]) == (VIN, "ab-12 cd", 2016)
    assert (told["customer"], told["ownerships"], told["warnings"]) == (None, [], [])
    assert api("desk").get(f"{URL}{VIN.lower()}/").json() == told
    assert Vehicle.objects.get().plate_key == "AB12CD"


def test_the_same_again_is_known_and_another_is_a_conflict(api: Api) -> None:
    desk = api("desk")
    first = desk.post(URL, {"vin": VIN, "plate": "A 1"}).json()
    again = desk.post(URL, {"vin": VIN.lower(), "plate": "A 1", "description": None})
    assert (again.status_code, again.json()) == (200, first)
    before = world.contents()
    assert fault(desk.post(URL, {"vin": VIN, "plate": "A 2"})) == (409, "/vin", "vin_taken")
    assert world.contents() == before


@pytest.mark.parametrize("vin", ["1M8GDM9AXKP04278", "IM8GDM9AXKP042788", "0" * 17])
def test_what_no_vin_is_is_refused(api: Api, vin: str) -> None:
    desk = api("desk")
    assert fault(desk.post(URL, {"vin": vin})) == (422, "/vin", "not_a_vin")
    assert not Vehicle.objects.exists()


def test_a_check_digit_that_differs_is_a_warning(api: Api) -> None:
    response = api("desk").post(URL, {"vin": "1M8GDM9A1KP042788"})
    assert response.status_code == 201
    assert "worked out it would be X" in response.json()["warnings"][0]


def test_ownerships_follow_the_customer(api: Api) -> None:
    ann, bob = customer(api, "Ann"), customer(api, "Bob")
    desk = api("desk")
    told = desk.post(URL, {"vin": VIN, "customer": ann}).json()
    assert [(o["customer"], o["until_at"]) for o in told["ownerships"]] == [(ann, None)]
    address = f"{URL}{VIN}/"
    desk.patch(address, {"customer": bob}, headers={"If-Match": '"1"'})
    same = desk.patch(address, {"customer": bob, "plate": "X 1"}, headers={"If-Match": '"2"'})
    assert len(same.json()["ownerships"]) == 2
    told = desk.patch(address, {"customer": None}, headers={"If-Match": '"3"'}).json()
    assert told["customer"] is None
    first, second = told["ownerships"]
    assert (first["customer"], second["customer"]) == (ann, bob)
    assert first["until_at"] == second["from_at"]
    assert second["until_at"] is not None
    assert Ownership.objects.count() == 2
    assert Edit.objects.get(kind="vehicle", version=2).changes == {"customer": None}


def test_a_change_needs_the_version(api: Api) -> None:
    desk, address = api("desk"), f"{URL}{VIN}/"
    desk.post(URL, {"vin": VIN})
    assert desk.patch(address, {"plate": "A"}).status_code == 428
    assert desk.patch(address, {"plate": "A"}, headers={"If-Match": '"3"'}).status_code == 412
    assert desk.patch(address, {"vin": VIN}, headers={"If-Match": '"1"'}).status_code == 400
    changed = desk.patch(address, {"plate": "A-9"}, headers={"If-Match": '"1"'})
    assert (changed.status_code, changed["ETag"]) == (200, '"2"')
    assert Vehicle.objects.get().plate_key == "A9"
    unknown = desk.patch(address, {"customer": "cu_00000000"}, headers={"If-Match": '"2"'})
    assert fault(unknown) == (422, "/customer", "unknown_customer")
    assert desk.get(address)["ETag"] == '"2"'


def test_the_bench_does_not_see_whose_car_it_is(api: Api) -> None:
    ann = customer(api, "Ann")
    api("desk").post(URL, {"vin": VIN, "customer": ann})
    bench = api("bench")
    one = bench.get(f"{URL}{VIN}/").json()
    assert {"customer", "ownerships"} & one.keys() == set()
    listed = bench.get(URL).json()["results"]
    assert listed == [one]
    assert bench.get(URL, {"customer": ann}).status_code == 403
    assert ann not in str(listed)
    seen = api("manager").get(URL, {"customer": ann}).json()["results"]
    assert [car["customer"] for car in seen] == [ann]


@pytest.mark.parametrize(("role", "reads"), [("bench", 200), ("machine", 403)])
def test_only_the_office_writes(api: Api, role: str, reads: int) -> None:
    api("desk").post(URL, {"vin": VIN})
    client = api(role)
    before = world.contents()
    assert client.get(URL).status_code == reads
    assert client.post(URL, {"vin": "1" * 17}).status_code == 403
    assert client.patch(f"{URL}{VIN}/", {"plate": "A"}).status_code == 403
    assert world.contents() == before


def test_lists_are_filtered_and_ordered(api: Api) -> None:
    desk = api("desk")
    plates: list[tuple[str, str | None]] = [("1" * 17, "AB 1"), (VIN, None)]
    for vin, plate in plates:
        desk.post(URL, {"vin": vin, "plate": plate, "model_year": 2015})

    def vins(**asked: Any) -> list[str]:
        return [row["vin"] for row in desk.get(URL, asked).json()["results"]]

    assert vins(plate="a-b1") == ["1" * 17]
    assert vins(model_year=2015, ordering="-vin") == [VIN, "1" * 17]
    assert vins(model_year=2014) == []
    assert desk.get(URL + "none/").status_code == 404
