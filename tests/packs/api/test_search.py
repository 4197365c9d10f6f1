"""search/: one box for plates, VINs, serials, tags, names and numbers."""

from typing import Any

import pytest

from packs.reads import searching
from tests import world
from tests.packs.api.conftest import Api

URL = "/api/v1/search/"
VIN = "1M8GDM9AXKP042788"


@pytest.fixture(autouse=True)
def a_shop(api: Api) -> None:
    """A customer with a car, packs with like serials, and a module."""
    desk = api("desk")
    customer = desk.post(
        "/api/v1/customers/", {"name": "José Muster-Meier", "phone": "+43 1 234 567"}
    ).json()
    car = {"vin": VIN, "plate": "W-1234 AB", "model_year": 2016, "customer": customer["id"]}
    assert desk.post("/api/v1/vehicles/", car).status_code == 201
    for serial in ("TP-10", "TP-1", "XTP-1"):
        world.pack(serial)
    world.module("MOD-77")


def found(api: Api, text: str, role: str = "desk") -> list[tuple[str, str]]:
    response = api(role).get(URL, {"q": text})
    assert response.status_code == 200
    return [(hit["kind"], hit["key"]) for hit in response.json()]


@pytest.mark.parametrize("text", ["W-1234 AB", "w1234ab", " W 1234-ab ", "1234 a", "2016"])
def test_a_plate_is_found_whatever_its_spaces(api: Api, text: str) -> None:
    expected = [] if text == "2016" else [("vehicle", VIN)]
    assert found(api, text) == expected


@pytest.mark.parametrize("text", [VIN, VIN.lower(), "1m8gdm9a xkp0", "042788"])
def test_a_vin_is_found_in_part(api: Api, text: str) -> None:
    assert found(api, text) == [("vehicle", VIN)]


def test_exact_comes_first_then_prefix_then_inside(api: Api) -> None:
    assert found(api, "tp 1") == [("pack", "TP-1"), ("pack", "TP-10"), ("pack", "XTP-1")]


@pytest.mark.parametrize("text", ["MOD-77", "mod77", "d-7"])
def test_a_module_is_found_by_its_tag(api: Api, text: str) -> None:
    assert found(api, text) == [("module", "MOD-77")]


@pytest.mark.parametrize(
    "text",
    ["jose", "Muster Meier", "meier, josé", "+43 1 234567", "01/234 567", "1234567"],
)
def test_a_customer_is_found_by_name_and_number(api: Api, text: str) -> None:
    hits = api("manager").get(URL, {"q": text}).json()
    assert [hit["kind"] for hit in hits] == ["customer"]
    assert hits[0]["title"] == "José Muster-Meier · W-1234 AB"
    assert hits[0]["link"] == f"/customers/{hits[0]['key']}/"
    assert found(api, text, "bench") == []


def test_a_hit_says_where_its_page_is(api: Api) -> None:
    hits: list[dict[str, Any]] = api("bench").get(URL, {"q": "W1234"}).json()
    assert hits == [
        {
            "kind": "vehicle",
            "key": VIN,
            "title": "W-1234 AB · 2016",
            "link": f"/vehicles/{VIN}/",
        }
    ]
    assert api("desk").get(URL, {"q": "xtp"}).json()[0]["link"] == "/packs/XTP-1/"


def test_at_most_twenty_are_told_and_the_kinds_take_turns(api: Api) -> None:
    for number in range(30):
        world.pack(f"MUST-{number:02}")
    hits = found(api, "must")
    assert len(hits) == 20
    assert hits[0] == ("pack", "MUST-00")
    assert ("customer" in {kind for kind, _ in hits}) is False
    world.module("MUST-MODULE")
    assert ("module", "MUST-MODULE") in found(api, "must")[:2]


@pytest.mark.parametrize("text", ["x", "-", "nothing like it", "%", "__"])
def test_what_says_too_little_finds_nothing(api: Api, text: str) -> None:
    assert found(api, text) == []


def test_the_box_needs_a_text_and_a_person(api: Api) -> None:
    assert api("desk").get(URL).status_code == 400
    assert api("desk").get(URL, {"q": "x", "p": "1"}).status_code == 400
    assert api("machine").get(URL, {"q": "TP-1"}).status_code == 403


def test_a_hit_says_where_the_thing_is_now(api: Api) -> None:
    desk = api("desk")
    put_in = {"pack": "XTP-1", "vehicle": VIN, "installed_at": "2024-05-01T09:00:00Z"}
    assert desk.post("/api/v1/installations/", put_in).status_code == 201
    hits = api("bench").get(URL, {"q": "xtp"}).json()
    assert hits[0]["title"] == "XTP-1 · Type NM-28 · in service · in W-1234 AB"


@pytest.mark.parametrize("text", [f"*{VIN}*", f"I{VIN}", f"*i {VIN.lower()} *"])
def test_a_vin_is_found_as_a_scanner_reads_it(api: Api, text: str) -> None:
    assert found(api, text) == [("vehicle", VIN)]


def test_the_pages_read_the_same(api: Api) -> None:
    hits = searching.find("tp-1", with_customers=True)
    assert [(hit.key, hit.rank) for hit in hits] == [
        ("TP-1", searching.EXACT),
        ("TP-10", searching.PREFIX),
        ("XTP-1", searching.INSIDE),
    ]
