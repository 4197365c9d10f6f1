"""A session that ends in the middle of a form, in a browser, with script and without."""

import pytest
from playwright.sync_api import Page, expect
from pytest_django import Settings

from packs.models import Call
from tests import pages, world
from tests.browser.conftest import Open

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
PASSWORD = "four plain words here"
NOTE = 'comes <b>Monday</b>, "at ten"\nor Tuesday'


def sign_in(tab: Page) -> None:
    tab.get_by_label("User name").fill("desk")
    tab.get_by_label("Password").fill(PASSWORD)
    tab.get_by_role("button", name="Sign in").click()
    expect(tab.get_by_role("button", name="Sign out")).to_be_visible()


@pytest.mark.parametrize("script", [True, False])
def test_what_was_typed_is_sent_again_after_signing_in_elsewhere(
    window: Open, script: bool, settings: Settings
) -> None:
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]  # quick
    world.pack()
    pages.account("desk", password=PASSWORD)
    desk = window(script=script)
    desk.goto("/sign-in/?next=/calls/new/%3Fpack=TP-0001%26reason=core")
    sign_in(desk)
    desk.get_by_label("Reached", exact=True).check()
    desk.get_by_label("What was said").fill(NOTE)
    desk.context.clear_cookies(name="sessionid")
    desk.locator("form.entry").get_by_role("button").click()
    expect(desk.get_by_role("heading", name="You were signed out")).to_be_visible()
    with desk.context.expect_page() as opened:
        desk.get_by_role("link", name="Sign in (opens another tab)").click()
    sign_in(opened.value)
    desk.get_by_role("button", name="Send it again").click()
    expect(desk.get_by_text("You are signed in as")).to_be_visible()
    desk.get_by_role("button", name="Send it again").click()
    expect(desk.get_by_text("The call is noted.")).to_be_visible()
    assert Call.objects.get().note.splitlines() == NOTE.splitlines()
