"""The owner's sheet: plain words, nothing personal beyond the desk's, and links for who may."""

import re

import pytest

from packs.models import Installation, Pack, Photo, Site, Visit
from packs.rules.identity import encode
from packs.writes import customers, vehicles
from tests import world
from tests.pages import inline, signed_in, text, words
from tests.reports.pages.conftest import Told
from tests.reports.pages.full import full_pack

pytestmark = pytest.mark.django_db


def test_the_sheet_says_it_in_plain_words(told: Told) -> None:
    pack = told("settled")
    page = text(signed_in("desk"), f"/packs/{pack.serial}/sheet/")
    read = words(page)
    heads = re.findall(r'<h2 id="(\w+)"', page)
    assert heads == ["stands", "done", "covered", "trend", "back", "outlook", "caution"]
    assert "Settled" in read
    assert "Each dot is one check" in read
    assert "no promise" in read
    assert "never open it" in read
    assert "We checked it, and changed nothing in it." in read
    assert "beside_marks" not in page
    assert inline(page) == []


def test_an_urgent_pack_has_no_day_to_come_back(told: Told) -> None:
    pack = told("over_limit")
    read = words(text(signed_in("desk"), f"/packs/{pack.serial}/sheet/"))
    assert "As soon as you can: call us for a day." in read


def test_modules_and_parts_are_counted_without_tags() -> None:
    pack = full_pack(4)
    read = words(text(signed_in("bench"), f"/packs/{pack.serial}/sheet/"))
    assert "1 of its 28 modules replaced." in read
    assert "And more before that" in read


@pytest.mark.parametrize(("role", "sees"), [("desk", True), ("bench", False)])
def test_the_owner_stands_on_it_for_the_office_alone(told: Told, role: str, *, sees: bool) -> None:
    pack, by, at = told("settled"), world.actor(), world.later()
    owner = {"name": "Rosalind Marsh", "phone": "0660 123", "email": None}
    customer = customers.create_customer(by=by, at=at, entry=owner).row
    car = {"vin": "TST12345678900001", "customer": encode(customer.PREFIX, customer.pk)}
    vehicle = vehicles.create_vehicle(by=by, at=at, entry=car).row
    Installation.objects.create(
        pack=pack, vehicle=vehicle, installed_at=at, **world.posted(b"", at)
    )
    page = text(signed_in(role), f"/packs/{pack.serial}/sheet/")
    assert ("Marsh" in page) == sees
    assert "0660" not in page


def test_a_scrapped_pack_is_not_asked_back(told: Told) -> None:
    pack = told("over_limit")
    Pack.objects.filter(pk=pack.pk).update(status="scrapped")
    read = words(text(signed_in("desk"), f"/packs/{pack.serial}/sheet/"))
    assert "Scrapped." in read
    assert "When to come back" not in read


def test_an_unknown_pack_has_no_sheet() -> None:
    text(signed_in("desk"), "/packs/TP-NONE/sheet/", 404)


def test_photographs_stand_in_the_history_with_their_words() -> None:
    pack = full_pack(0, 12)
    page = text(signed_in("desk"), f"/packs/{pack.serial}/")
    photo = Photo.objects.order_by("pk")[0]
    link = f"/api/v1/photos/{encode(photo.PREFIX, photo.pk)}/image/"
    assert f'<img src="{link}?size=small" alt="Bus bar 2, 3 Mar 2024">' in page


def links(page: str) -> list[str]:
    return re.findall(r'<a class="way" href="([^"]+)">', page)


def test_each_role_is_led_to_what_it_may_do(told: Told) -> None:
    pack = told("settled")
    desk = links(text(signed_in("desk"), f"/packs/{pack.serial}/"))
    assert desk == [
        "/check-in/?pack=TP-0001", "/photos/new/?pack=TP-0001", "/calls/new/?pack=TP-0001",
        "/packs/TP-0001/sheet/",
    ]  # fmt: skip
    bench = links(text(signed_in("bench"), f"/packs/{pack.serial}/"))
    assert bench == ["/photos/new/?pack=TP-0001", "/packs/TP-0001/sheet/"]


def test_every_link_of_a_pack_in_the_shop_leads_somewhere() -> None:
    pack, client = full_pack(2), signed_in("manager")
    found = links(text(client, f"/packs/{pack.serial}/"))
    visit = encode(Visit.PREFIX, Visit.objects.get().pk)
    assert found[:2] == [f"/visits/{visit}/", f"/visits/{visit}/papers/"]
    assert any("/papers/warranty_certificate/" in link for link in found)
    for link in found:
        text(client, link.replace("&amp;", "&"))


@pytest.mark.parametrize(
    ("order", "said"),
    [("day_month", "2 Mar 2024"), ("month_day", "Mar 2, 2024"), ("iso", "2024-03-02")],
)
def test_dates_and_distances_are_those_of_the_site(order: str, said: str) -> None:
    pack = full_pack(2)
    Site.objects.create(
        code="w", name="W", time_zone="UTC", distance="mi", temperature="f", date_order=order,
        **world.posted(b""),
    )  # fmt: skip
    read = words(text(signed_in("desk"), f"/packs/{pack.serial}/"))
    assert f"In the shop since {said}" in read
    assert "from 74 565 mi" in read
    others = {"2 Mar 2024", "Mar 2, 2024", "2024-03-02"} - {said}
    assert [other for other in others if other in read] == []


def test_in_the_shop_nobody_is_asked_to_call_for_a_day(told: Told) -> None:
    pack = told("over_limit")
    Visit.objects.create(
        pack=pack, opened_at=world.later(101), **world.posted(b"visit", world.later(101))
    )
    read = words(text(signed_in("desk"), f"/packs/{pack.serial}/sheet/"))
    assert "It is with us now." in read
    assert "call us for a day" not in read


def test_its_voltages_have_two_decimals(told: Told) -> None:
    page = text(signed_in("desk"), f"/packs/{told('settled').serial}/sheet/")
    assert re.findall(r'<td class="n">([\d.]+)</td>', page)
    assert re.findall(r"\d\.\d{3,}", words(page)) == []


@pytest.mark.parametrize(("role", "leads"), [("desk", True), ("bench", False)])
def test_the_page_of_a_pack_leads_to_its_owner(role: str, *, leads: bool) -> None:
    pack, at = full_pack(4), world.later()
    owner = {"name": "Rosalind Marsh", "phone": "0660 123", "email": None}
    customer = customers.create_customer(by=world.actor(), at=at, entry=owner).row
    sat = Installation.objects.get(pack=pack, removed_at=None)
    assert sat.vehicle is not None
    type(sat.vehicle).objects.filter(pk=sat.vehicle.pk).update(customer=customer)
    page = text(signed_in(role), f"/packs/{pack.serial}/")
    assert (f'href="/customers/{encode(customer.PREFIX, customer.pk)}/"' in page) == leads
