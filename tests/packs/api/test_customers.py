"""customers/: personal data, for the desk and the manager alone."""

from typing import Any

import pytest

from packs.models import Customer, Edit
from tests import world
from tests.packs.api.conftest import Api
from tests.packs.api.test_pack_types import fault

URL = "/api/v1/customers/"
BODY = {"name": "José Muster-Meier", "phone": "+43 (0)1 234-567", "email": "jose@example.org"}


def test_a_customer_is_stored_with_the_keys_it_is_found_by(api: Api) -> None:
    response = api("desk").post(URL, BODY)
    assert response.status_code == 201
    told = response.json()
    assert response["Location"] == f"{URL}{told['id']}/"
    assert {name: told[name] for name in BODY} == BODY
    stored = Customer.objects.get()
    assert (stored.name_key, stored.phone_key) == ("JOSEMUSTERMEIER", "4301234567")
    assert api("manager").get(f"{URL}{told['id']}/").json() == told


def test_the_same_external_id_again_is_known(api: Api) -> None:
    desk = api("desk", "one office")
    said = {"name": "Ann", "external_id": "c-1"}
    first = desk.post(URL, said).json()
    again = desk.post(URL, {**said, "phone": None, "email": ""})
    assert (again.status_code, again.json()) == (200, first)
    before = world.contents()
    other = desk.post(URL, {**said, "name": "Bob"})
    assert fault(other) == (409, "/external_id", "external_id_taken")
    assert world.contents() == before
    assert api("desk", "another").post(URL, said).status_code == 201


def test_two_customers_may_bear_one_name(api: Api) -> None:
    desk = api("desk")
    ids = {desk.post(URL, {"name": "Ann"}).json()["id"] for _ in range(2)}
    assert len(ids) == 2


def test_a_change_needs_the_version_and_its_log_holds_no_personal_data(api: Api) -> None:
    desk = api("desk")
    address = f"{URL}{desk.post(URL, BODY).json()['id']}/"
    changes = {"name": "Ann", "phone": None}
    assert desk.patch(address, changes).status_code == 428
    assert desk.patch(address, changes, headers={"If-Match": '"4"'}).status_code == 412
    changed = desk.patch(address, changes, headers={"If-Match": '"1"'})
    assert (changed.status_code, changed["ETag"]) == (200, '"2"')
    assert (changed.json()["name"], changed.json()["phone"]) == ("Ann", "")
    assert Customer.objects.get().name_key == "ANN"
    edit = Edit.objects.get()
    assert edit.changes.keys() >= {"name", "phone"}
    assert set(edit.changes.values()) == {None}


@pytest.mark.parametrize("body", [{}, {"name": " "}, {"name": "A", "age": 3}, {"name": None}])
def test_what_is_malformed_is_refused(api: Api, body: dict[str, Any]) -> None:
    desk = api("desk")
    assert desk.post(URL, body).status_code == 400
    assert not Customer.objects.exists()


@pytest.mark.parametrize("role", ["bench", "machine"])
def test_neither_bench_nor_programs_see_customers(api: Api, role: str) -> None:
    address = f"{URL}{api('desk').post(URL, BODY).json()['id']}/"
    client = api(role)
    before = world.contents()
    for response in (
        client.get(URL),
        client.get(address),
        client.post(URL, BODY),
        client.patch(address, {"name": "x"}),
    ):
        assert response.status_code == 403
        assert "Muster" not in response.content.decode()
    assert world.contents() == before


def test_lists_are_filtered(api: Api) -> None:
    desk = api("desk")
    desk.post(URL, {**BODY, "external_id": "c-9"})
    desk.post(URL, {"name": "Ann"})

    def found(**asked: Any) -> list[str]:
        return [row["name"] for row in desk.get(URL, asked).json()["results"]]

    assert found(name="jose muster") == found(phone="01 234 567") == [BODY["name"]]
    assert found(email="JOSE@example.org") == found(external_id="c-9") == [BODY["name"]]
    assert found(ordering="name") == ["Ann", BODY["name"]]
    assert desk.get(URL + "cu_00000000/").status_code == 404
