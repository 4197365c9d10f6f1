"""Pages of the house: sign-in and sign-out, and what is said when a page is not there."""

import pytest
from django.conf import settings as house
from django.contrib.staticfiles import finders
from django.template.loader import render_to_string
from django.test import Client

from packs.models import Account
from tests import world
from tests.pages import inline, signed_in, text, words

pytestmark = pytest.mark.django_db
PASSWORD = "four plain words here"


@pytest.fixture
def account() -> Account:
    made = Account(username="kim", person=world.person("kim"))
    made.set_password(PASSWORD)
    made.save()
    return made


@pytest.mark.parametrize("address", ["/", "/search/?q=tp", "/packs/TP-1/", "/vehicles/V/"])
def test_who_is_not_signed_in_is_sent_to_sign_in_and_back(account: Account, address: str) -> None:
    client = Client()
    sent = client.get(address)
    assert sent.status_code == 302
    assert sent.headers["Location"].startswith("/sign-in/?next=")
    said = {"username": "kim", "password": PASSWORD, "next": address}
    assert client.post("/sign-in/", said).headers["Location"] == address


def test_a_wrong_password_loses_nothing_typed_and_leads_to_the_field(account: Account) -> None:
    response = Client().post("/sign-in/", {"username": "kim", "password": "wrong"})
    page = response.content.decode()
    assert 'value="kim"' in page
    assert '<a href="#id_username">' in page
    assert 'id="id_username"' in page
    assert page.count('aria-invalid="true" aria-describedby="wrong"') == 2
    assert page.count('id="wrong"') == 1
    assert "The user name or the password is not right." in words(page)


def test_every_page_says_who_is_signed_in_and_lets_them_out() -> None:
    client = signed_in("bench")
    page = text(client, "/")
    assert "Bench" in words(page)
    assert 'action="/sign-out/"' in page
    assert page.count('type="search"') == 1
    assert 'class="skip" href="#main"' in page
    assert client.post("/sign-out/").headers["Location"] == "/sign-in/"
    assert client.get("/").status_code == 302


def test_a_machine_has_no_pages() -> None:
    assert "Not for your role" in text(signed_in("machine"), "/", 403)


def test_a_page_that_is_not_there_is_told_in_the_same_dress() -> None:
    client = signed_in("desk")
    page = text(client, "/no/such/page/", 404)
    assert "There is no page at this address." in page
    assert 'type="search"' in page
    assert "There is nothing named" in text(client, "/packs/NONE/", 404)
    assert 'type="search"' not in text(Client(), "/no/such/page/", 404)


def test_a_form_that_has_expired_says_that_nothing_was_stored(account: Account) -> None:
    client = Client(enforce_csrf_checks=True)
    refused = client.post("/sign-in/", {"username": "kim", "password": PASSWORD})
    assert refused.status_code == 403
    assert "Nothing was stored." in refused.content.decode()


@pytest.mark.parametrize(
    "name", ["400.html", "403.html", "403_csrf.html", "404.html", "500.html", "503.html"]
)
def test_refusals_need_no_request_and_no_database(name: str) -> None:
    page = render_to_string(name)
    assert "<h1>" in page
    assert "Start from the search" in page
    assert inline(page) == []


@pytest.mark.parametrize("address", ["/sign-in/", "/", "/search/?q=zz", "/nowhere/"])
def test_no_script_or_style_stands_in_a_page(address: str) -> None:
    for client in (Client(), signed_in("manager")):
        response = client.get(address, follow=True)
        assert inline(response.content.decode()) == []
        assert response.headers["Content-Security-Policy"].startswith("default-src 'self'")
        client.logout()


def test_what_pages_load_is_served_from_here() -> None:
    client = signed_in("desk")
    page = text(client, "/")
    for name in ("shop/register.css", "shop/mark.svg", "vendor/htmx/htmx-2.0.11.min.js"):
        assert f"{house.STATIC_URL}{name}" in page
        assert finders.find(name)
    assert finders.find("vendor/htmx/LICENSE")
