"""The box on every page."""

import pytest
from django.contrib.staticfiles import finders
from django.test import Client

from packs.rules.identity import encode
from packs.writes import customers, installations, vehicles, visits
from tests import world
from tests.pages import inline, signed_in, text, words

pytestmark = pytest.mark.django_db
VIN = "TST12345678900001"


@pytest.fixture(autouse=True)
def shop() -> None:
    world.pack("TP-0101")
    world.pack("TP-0102")
    world.module("M-77")
    by, at = world.actor(), world.later()
    owner = {"name": "Rosalind Marsh", "phone": "0660 123", "email": None}
    customer = customers.create_customer(by=by, at=at, entry=owner).row
    key = encode(customer.PREFIX, customer.pk)
    car = {"vin": VIN, "plate": "W-1234 X", "customer": key}
    vehicles.create_vehicle(by=by, at=at, entry=car)


@pytest.mark.parametrize("typed", ["tp-0101", " TP 0101 ", "tp0101", "tp-oioi"])
def test_the_one_pack_that_is_meant_is_shown_at_once(typed: str) -> None:
    response = signed_in("desk").get("/search/", {"q": typed})
    assert response.headers["Location"] == "/packs/TP-0101/"


@pytest.mark.parametrize("typed", ["w1234x", "W 1234-X", "00001", "ooooi", "w-i234x", VIN.lower()])
def test_a_car_is_found_by_plate_or_vin_however_typed(typed: str) -> None:
    response = signed_in("bench").get("/search/", {"q": typed})
    assert response.headers["Location"] == f"/vehicles/{VIN}/"


def test_what_is_exactly_a_key_is_shown_at_once_though_others_begin_so() -> None:
    world.pack("TP-01021")
    world.module("M-771")
    client = signed_in("desk")
    assert client.get("/search/?q=tp0102").headers["Location"] == "/packs/TP-0102/"
    assert client.get("/search/?q=m77").headers["Location"] == "/modules/M-77/"
    assert client.get(f"/search/?q=*I{VIN}*").headers["Location"] == f"/vehicles/{VIN}/"


def test_two_that_are_read_alike_are_listed_and_so_is_a_name_that_others_begin_with() -> None:
    world.pack("TP-O1O2")
    client = signed_in("desk")
    assert "2 found" in text(client, "/search/?q=tp-0102")
    entry = {"name": "Rosalind Marshall", "phone": None, "email": None}
    customers.create_customer(by=world.actor(), at=world.later(), entry=entry)
    assert "2 found" in text(client, "/search/?q=rosalind+marsh")


def test_the_list_under_the_box_is_a_part_of_a_page_and_leads_to_each() -> None:
    found = text(signed_in("desk"), "/search/suggest/?q=tp-01")
    assert "<html" not in found
    assert inline(found) == []
    assert found.count('role="option"') == 2
    assert 'href="/packs/TP-0101/"' in found
    assert 'data-said="2 found"' in found
    assert "Nothing found so far" in text(signed_in("bench"), "/search/suggest/?q=zzzz")


def test_the_list_under_the_box_shows_each_role_what_it_may_see() -> None:
    desk, bench = signed_in("desk"), signed_in("bench")
    answer = desk.get("/search/suggest/?q=marsh")
    assert "Rosalind Marsh" in answer.content.decode()
    assert answer.headers["Cache-Control"] == "no-store, private"
    assert "Marsh" not in text(bench, "/search/suggest/?q=marsh")
    assert signed_in("machine").get("/search/suggest/?q=tp").status_code == 403
    assert Client().get("/search/suggest/?q=tp").headers["Location"].startswith("/sign-in/")


def test_many_are_cut_where_a_small_screen_ends() -> None:
    for number in range(12):
        world.pack(f"ZZ-{number:03}")
    found = text(signed_in("desk"), "/search/suggest/?q=zz")
    assert found.count('role="option"') == 8
    assert "The first 8, Enter lists more" in found


def test_cars_that_were_here_last_come_by_plate_with_what_they_wait_for() -> None:
    by, at = world.actor(), world.later(days=2)
    pack = world.pack("TP-0900")
    world.check(pack)
    put_in = {"pack": "TP-0900", "vehicle": VIN, "installed_at": world.later(days=1)}
    installations.record_installation(by=by, at=at, entry=put_in)
    other = {"vin": "1M8GDM9AXKP042788", "plate": "B-77", "description": "estate"}
    vehicles.create_vehicle(by=by, at=at, entry=other)
    visits.open_visit(by=by, at=at, entry={"vehicle": other["vin"], "waits_for": "diagnosis"})
    stay = {"vehicle": VIN, "pack": "TP-0900", "waits_for": "parts"}
    visits.open_visit(by=by, at=world.later(days=3), entry=stay)
    client = signed_in("bench")
    for address in ("/", "/search/suggest/?q="):
        page = words(text(client, address))
        assert "W-1234 X · TP-0900 · Type NM-28 · waits for parts" in page
        assert "B-77 · estate · waits for diagnosis" in page
        assert page.index("W-1234 X") < page.index("B-77")
        assert "Marsh" not in page
    assert "TP-0101" not in words(text(client, "/"))


def test_the_box_of_every_page_has_its_script_and_its_list() -> None:
    page = text(signed_in("desk"), "/modules/M-77/")
    assert 'data-suggest="/search/suggest/"' in page
    for name in ("shop/find.js", "shop/find.css"):
        assert name in page
        assert finders.find(name)


def test_several_are_listed_and_typing_never_leads_away() -> None:
    client = signed_in("desk")
    assert "2 found for “tp-01”" in text(client, "/search/?q=tp-01")
    typing = client.get("/search/", {"q": "TP-0101"}, headers={"HX-Request": "true"})
    assert typing.status_code == 200
    assert 'href="/packs/TP-0101/"' in typing.content.decode()


def test_nothing_found_says_what_would_do_and_keeps_what_was_typed() -> None:
    page = text(signed_in("bench"), "/search/?q=%3Cb%3E")
    assert "Nothing found for “&lt;b&gt;”" in page
    assert 'value="&lt;b&gt;"' in page


def test_only_the_count_is_read_out_and_kinds_are_in_plain_words() -> None:
    found = text(signed_in("desk"), "/search/?q=tp-01")
    assert found.count("aria-live") == 1
    assert 'aria-live="polite">2 found</p>' in found
    assert "in service" in found
    assert "In service" not in found
    typing = signed_in("manager").get("/search/", {"q": "marsh"}, headers={"HX-Request": "true"})
    assert '<span class="kind">owner</span>' in typing.content.decode()


def test_a_cut_list_asks_for_more() -> None:
    for number in range(25):
        world.pack(f"ZZ-{number:03}")
    assert "The first 20 for “zz”, type more to narrow" in text(signed_in("desk"), "/search/?q=zz")


def test_names_of_owners_are_for_the_office() -> None:
    assert signed_in("desk").get("/search/?q=marsh").headers["Location"].startswith("/customers/")
    assert "Nothing found" in text(signed_in("bench"), "/search/?q=marsh")


def test_the_first_page_reminds_of_what_was_in_hand_last() -> None:
    world.check(world.pack("TP-0900"))
    page = words(text(signed_in("bench"), "/"))
    assert "Last seen here" in page
    assert "TP-0900" in page
    assert "TP-0101" not in page


def follow(client: Client, typed: str) -> str:
    response = client.get("/search/", {"q": typed}, follow=True)
    assert response.status_code == 200
    return words(response.content.decode())


def test_a_module_and_a_customer_have_pages() -> None:
    client = signed_in("desk")
    assert "never fitted" in follow(client, "M-77")
    assert "W-1234 X" in follow(client, "rosalind")


def test_a_customer_is_not_for_the_bench() -> None:
    address = signed_in("manager").get("/search/?q=marsh").headers["Location"]
    assert "Marsh" not in text(signed_in("bench"), address, 403)


@pytest.mark.parametrize(
    "address",
    ["/search/?q=%00ab", "/packs/%00/", "/modules/%00/", "/vehicles/%00/", "/customers/%00/"],
)
def test_what_can_not_be_typed_is_not_there(address: str) -> None:
    assert signed_in("desk", "manager").get(address).status_code == 404


def test_a_text_of_a_thousand_words_finds_nothing() -> None:
    assert "Nothing" in words(text(signed_in("desk"), "/search/?q=" + "+".join(["ab"] * 1200)))


@pytest.mark.parametrize(
    "edge",
    ["0001-01-01T00:00:00%2B23:59~1", "9999-12-31T23:59:59-23:59~1", "2026-01-01T00:00:00~1"],
)
def test_a_page_of_the_past_that_never_was(edge: str) -> None:
    desk = signed_in("desk")
    for side in ("before", "after"):
        assert desk.get(f"/packs/TP-0101/?{side}={edge}").status_code == 404


def test_a_page_that_takes_too_long_says_when_to_come_back(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def slow(*_: object, **__: object) -> None:
        raise TimeoutError

    monkeypatch.setattr("packs.reads.searching.find", slow)
    response = signed_in("desk").get("/search/?q=ab")
    assert (response.status_code, response["Retry-After"]) == (503, "5")
    assert "busy" in words(response.content.decode())


def test_what_is_not_found_is_checked_in_from_there_by_the_office() -> None:
    offered = 'href="/check-in/?q=QX+99"'
    assert offered in text(signed_in("desk"), "/search/?q=QX 99")
    assert offered not in text(signed_in("bench"), "/search/?q=QX 99")
