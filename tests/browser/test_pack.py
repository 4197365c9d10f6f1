"""The page of a pack, worked by each hand."""

import re

import pytest
from playwright.sync_api import expect

from tests.browser import shop
from tests.browser.conftest import Open, Take
from tests.browser.hands import PLAIN

pytestmark = [pytest.mark.browser, pytest.mark.usefixtures("standing")]


@pytest.mark.parametrize("take", PLAIN, indirect=True, ids=lambda kind: str(kind.name))
def test_from_the_answer_to_its_reasons_and_to_the_car(take: Take) -> None:
    desk = take("desk")
    desk.open(f"/packs/{shop.PACK}/")
    answer = desk.page.get_by_role("region").first
    expect(answer).to_contain_text("For the owner")
    desk.unfold("Why")
    expect(desk.page.get_by_text("from revision")).to_be_visible()
    desk.follow(shop.PLATE)
    expect(desk.page).to_have_url(re.compile(f"/vehicles/{shop.VIN}/"))
    desk.follow(shop.PACK)
    expect(desk.page).to_have_url(re.compile(f"/packs/{shop.PACK}/"))


def test_the_skip_link_is_the_first_thing_that_tab_comes_to(window: Open) -> None:
    page = window("bench", width=820)
    page.goto(f"/packs/{shop.PACK}/")
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="Skip to the content")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator("main")).to_be_focused()
