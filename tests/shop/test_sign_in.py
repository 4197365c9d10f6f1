"""Signing in: over plain loopback, and over HTTPS only where the shop is on the network."""

import pytest
from django.conf import settings as house
from django.test import Client
from django.utils import timezone
from pytest_django import Settings

from packs.models import Account, Person
from packs.writes import clients

PASSWORD = "four plain words here"


@pytest.fixture
def account(db: None) -> Account:
    now = timezone.now()
    person = Person.objects.create(
        code="ANN",
        name="Ann",
        roles=["desk"],
        recorded_at=now,
        client=clients.pages_client(at=now),
        digest=b"",
    )
    account = Account(username="ann", person=person)
    account.set_password(PASSWORD)
    account.save()
    return account


def sign_in(client: Client, *, password: str = PASSWORD, following: str = "") -> str:
    """Post the form; the address that it leads to, or nothing."""
    said = {"username": "ann", "password": password, "next": following}
    response = client.post("/sign-in/", said, secure=False)
    return response.headers.get("Location", "")


def test_a_person_signs_in_over_plain_loopback_and_out_again(account: Account) -> None:
    client = Client(SERVER_NAME="127.0.0.1")
    assert sign_in(client, following="/api/v1/docs/") == "/api/v1/docs/"
    assert client.get("/api/v1/no-such-thing/").status_code == 404
    assert client.post("/sign-out/").status_code == 302
    assert client.get("/api/v1/no-such-thing/").status_code == 401


def test_a_wrong_password_is_told_and_stays_on_the_page(account: Account) -> None:
    client = Client()
    response = client.post("/sign-in/", {"username": "ann", "password": "wrong"})
    assert response.status_code == 200
    assert 'role="alert"' in response.content.decode()
    assert house.SESSION_COOKIE_NAME not in client.cookies


def test_it_leads_nowhere_else_than_here(account: Account) -> None:
    assert sign_in(Client(), following="https://elsewhere.example/") == house.LOGIN_REDIRECT_URL


def test_a_form_without_its_token_is_refused(account: Account) -> None:
    client = Client(enforce_csrf_checks=True)
    response = client.post("/sign-in/", {"username": "ann", "password": PASSWORD})
    assert response.status_code == 403


def test_on_the_network_everything_but_health_goes_to_https(
    account: Account, settings: Settings
) -> None:
    settings.SECURE_SSL_REDIRECT = True
    settings.SESSION_COOKIE_SECURE = True
    settings.SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    client = Client()
    assert sign_in(client) == "https://testserver/sign-in/"
    assert client.get("/health/live").status_code == 200
    behind_proxy = Client(headers={"x-forwarded-proto": "https"})
    assert sign_in(behind_proxy) == house.LOGIN_REDIRECT_URL
    assert behind_proxy.cookies[house.SESSION_COOKIE_NAME]["secure"]
