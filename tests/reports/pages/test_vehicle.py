"""The page of a car: its present pack, and those it had."""

import pytest

from packs.models import Installation, Vehicle, Visit
from packs.writes import vehicles
from tests import world
from tests.pages import inline, signed_in, text, words
from tests.reports.pages.conftest import Told

pytestmark = pytest.mark.django_db
VIN = "TST12345678900001"


@pytest.fixture(autouse=True)
def car() -> None:
    vehicles.create_vehicle(
        by=world.actor(), at=world.later(), entry={"vin": VIN, "plate": "W-1 X"}
    )


def test_a_car_tells_how_its_pack_is_and_which_it_had(told: Told) -> None:
    old, new = told("over_limit", "TP-OLD"), told("near_limit", "TP-NEW")
    vehicle = Vehicle.objects.get(vin=VIN)
    Installation.objects.create(
        pack=old, vehicle=vehicle, installed_at=world.later(1), removed_at=world.later(50),
        installed_km=123400, **world.posted(b"1"),
    )  # fmt: skip
    Installation.objects.create(
        pack=new, vehicle=vehicle, installed_at=world.later(50), **world.posted(b"2")
    )
    page = text(signed_in("bench"), f"/vehicles/{VIN.lower()}/")
    read = words(page)
    assert "Near the limit" in read
    assert "Over the limit" not in read
    assert "See it next Now, as soon as it can be brought." in read
    had = read[read.index("Packs it had") :]
    assert had.index("TP-NEW") < had.index("TP-OLD")
    assert "123 400 km" in had
    assert inline(page) == []


def test_a_car_without_a_pack_says_so() -> None:
    read = words(text(signed_in("desk"), f"/vehicles/{VIN}/"))
    assert "No pack is recorded in this car." in read
    assert "Owner not recorded" in read


def test_an_unknown_car_is_404() -> None:
    text(signed_in("desk"), "/vehicles/TST12345678900009/", 404)


def test_a_car_leads_to_its_check_in() -> None:
    offered = f'href="/check-in/?vehicle={VIN}"'
    assert offered in text(signed_in("desk"), f"/vehicles/{VIN}/")
    assert offered not in text(signed_in("bench"), f"/vehicles/{VIN}/")


def test_a_car_that_is_here_leads_to_its_visit() -> None:
    Visit.objects.create(
        vehicle=Vehicle.objects.get(vin=VIN), opened_at=world.later(1), complaint="warning light",
        **world.posted(b"3"),
    )  # fmt: skip
    page = text(signed_in("desk"), f"/vehicles/{VIN}/")
    assert "It is here: the visit of" in words(page)
    assert "/check-in/?vehicle" not in page
