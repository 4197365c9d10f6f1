"""A form sent by somebody who was signed out meanwhile: nothing typed is lost, nothing is cached."""

import re
from html import unescape
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from packs.models import Call
from tests import world
from tests.pages import account, inline, text, words

pytestmark = pytest.mark.django_db
PASSWORD = "four plain words here"
ADDRESS = "/calls/new/?pack=TP-0001"
NOTE = 'comes <b>Monday</b> & said "yes"\r\nsecond line'
TYPED = {"pack": "TP-0001", "reason": "core", "outcome": "reached", "note": NOTE}


@pytest.fixture
def browser() -> Client:
    """One that is signed in, and whose forms bear a token that counts."""
    world.pack()
    account("desk", password=PASSWORD)
    client = Client(enforce_csrf_checks=True)
    sign_in(client)
    return client


def sign_in(client: Client) -> None:
    said = {**hidden(text(client, "/sign-in/")), "username": "desk", "password": PASSWORD}
    assert client.post("/sign-in/", said)["Location"] == "/"


def hidden(html: str) -> dict[str, str]:
    """The hidden fields of a page's last form, with their values as a browser sends them."""
    form = html.rpartition("<form")[2]
    found = re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', form)
    return {unescape(name): unescape(value) for name, value in found}


def signed_out_in_between(client: Client, **changes: Any) -> str:
    """The page that answers what was typed before the session ended."""
    sent = {**hidden(text(client, ADDRESS)), **TYPED}
    del client.cookies["sessionid"]
    answer = client.post(ADDRESS, {**sent, **changes})
    assert answer.status_code == 401
    assert answer["Cache-Control"] == "no-store, private"
    return answer.content.decode()


def test_what_was_typed_is_held_and_stored_once_after_signing_in(browser: Client) -> None:
    page = signed_out_in_between(browser)
    assert inline(page) == []
    assert "<b>Monday" not in page
    assert 'href="/sign-in/" target="_blank" rel="noopener"' in page
    held = hidden(page)
    assert {name: held[name] for name in TYPED} == TYPED
    sign_in(browser)
    again = browser.post(ADDRESS, held)
    assert again.status_code == 403
    assert "You are signed in as" in words(again.content.decode())
    assert not Call.objects.exists()
    fresh = hidden(again.content.decode())
    assert [browser.post(ADDRESS, fresh).status_code for _ in range(2)] == [302, 302]
    assert Call.objects.get().note.splitlines() == NOTE.splitlines()


def test_sent_again_while_still_signed_out_it_is_held_again(browser: Client) -> None:
    held = hidden(signed_out_in_between(browser))
    again = browser.post(ADDRESS, held)
    assert again.status_code == 401
    assert hidden(again.content.decode())["note"] == NOTE


def test_a_file_cannot_be_held_and_that_is_said(browser: Client) -> None:
    assert "file cannot be kept" not in words(signed_out_in_between(browser))
    sign_in(browser)
    upload = SimpleUploadedFile("a.txt", b"not kept")
    assert "A file cannot be kept" in words(signed_out_in_between(browser, image=upload))


@pytest.mark.parametrize("change", ["fields", "address", "browser"])
def test_only_what_this_browser_sent_is_offered_again(browser: Client, change: str) -> None:
    """What another site makes a browser send has no token that counts, and no such cookie."""
    held = hidden(signed_out_in_between(browser))
    sign_in(browser)
    address = ADDRESS
    if change == "fields":
        held["note"] = "put in by another"
    elif change == "address":
        address = "/calls/new/?pack=TP-0002"
    else:
        del browser.cookies["sent_signed_out"]
    answer = browser.post(address, held)
    assert answer.status_code == 403
    page = answer.content.decode()
    assert "This form has expired" in page
    assert "in another tab" in words(page)
    assert held["note"] not in unescape(page)
    assert not Call.objects.exists()


@pytest.mark.parametrize("address", ["/", "/packs/TP-0001/", "/packs/", "/calls/new/", "/cores/"])
def test_no_page_behind_the_sign_in_is_kept_by_a_browser(browser: Client, address: str) -> None:
    assert browser.get(address)["Cache-Control"] == "no-store, private"
