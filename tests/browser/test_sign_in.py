"""Signing in and out by each hand."""

import re

import pytest
from playwright.sync_api import expect
from pytest_django import Settings

from tests import pages
from tests.browser.conftest import Take
from tests.browser.hands import PLAIN

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
PASSWORD = "four plain words here"


@pytest.mark.parametrize("take", PLAIN, indirect=True, ids=lambda kind: str(kind.name))
def test_in_with_a_wrong_password_first_and_out_again(take: Take, settings: Settings) -> None:
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]  # quick
    pages.account("desk", password=PASSWORD)
    desk = take("")
    desk.open("/search/?q=none")
    desk.write("User name", "desk")
    desk.write("Password", "wrong")
    desk.press("Sign in")
    expect(desk.page.get_by_role("alert")).to_contain_text("You are not signed in")
    expect(desk.page.get_by_label("User name")).to_have_value("desk")
    desk.write("Password", PASSWORD)
    desk.press("Sign in")
    expect(desk.page).to_have_url(re.compile("/search/"))
    desk.press("Sign out")
    expect(desk.page.get_by_role("heading", level=1)).to_have_text("Sign in")
