"""The list under the box where hands are slow, answers late, and the network is gone."""

import re
import time

import pytest
from playwright.sync_api import Page, Route, expect

from tests.browser import shop
from tests.browser.conftest import Open

pytestmark = [pytest.mark.browser, pytest.mark.usefixtures("standing")]
SLOWLY_MS = 60  # between two characters of a hand
ANYWHERE = "/modules/nothing-of-this-name/"  # a page that is not there has the box as well


def in_the_box(desk: Page, address: str = "/cores/") -> Page:
    desk.goto(address)
    desk.get_by_label("Find").click()
    return desk


def test_a_person_who_tabs_away_stays_on_the_page(window: Open) -> None:
    desk = in_the_box(window("desk"))
    desk.keyboard.type(shop.PACK, delay=SLOWLY_MS)
    expect(desk.get_by_role("option")).to_have_count(1)
    desk.keyboard.press("Tab")
    expect(desk.get_by_role("button", name="Search")).to_be_focused()
    expect(desk.get_by_role("option")).to_have_count(0)
    expect(desk).to_have_url(re.compile("/cores/$"))
    expect(desk.get_by_label("Find")).to_have_value(shop.PACK)


def test_a_scanner_that_ends_in_tab_is_understood_on_the_search_page_too(window: Open) -> None:
    desk = in_the_box(window("desk"), "/search/")
    desk.keyboard.type(shop.PACK)
    desk.keyboard.press("Tab")
    expect(desk).to_have_url(re.compile(f"/packs/{shop.PACK}/"))


def test_the_search_page_has_one_list_and_the_box_says_what_it_controls(window: Open) -> None:
    desk = in_the_box(window("desk"), "/search/")
    desk.keyboard.type("tp-01", delay=SLOWLY_MS)
    expect(desk.get_by_role("link", name=shop.YOUNG)).to_be_visible()
    expect(desk.get_by_role("option")).to_have_count(0)
    in_the_box(desk)
    desk.keyboard.type("tp-01", delay=SLOWLY_MS)
    box = desk.get_by_role("combobox", name="Find")
    expect(box).to_have_attribute("aria-expanded", "true")
    expect(desk.locator(f"#{box.get_attribute('aria-controls')}")).to_be_visible()
    desk.keyboard.press("ArrowUp")
    last = desk.get_by_role("option").last
    expect(box).to_have_attribute("aria-activedescendant", str(last.get_attribute("id")))
    desk.keyboard.press("Home")
    expect(desk.get_by_role("option", selected=True)).to_have_count(0)
    desk.keyboard.press("Escape")
    expect(box).to_have_attribute("aria-expanded", "false")
    expect(box).to_have_value("tp-01")


def test_what_was_here_last_stands_under_the_empty_box_on_a_telephone(window: Open) -> None:
    desk = in_the_box(window("bench", width=390))
    first = desk.get_by_role("option").first
    expect(first).to_be_visible()
    for option in desk.get_by_role("option").all():
        place = option.bounding_box()
        assert place is not None
        assert place["height"] >= 48
        assert place["x"] >= 0
        assert place["x"] + place["width"] <= 390
    first.click()
    expect(desk).to_have_url(re.compile("/(packs|vehicles)/"))


def test_an_answer_that_comes_late_is_dropped(window: Open) -> None:
    desk = window("desk")

    def slow(route: Route) -> None:
        time.sleep(1)
        route.continue_()

    desk.route(re.compile("suggest/.q=zz$"), slow)
    in_the_box(desk, ANYWHERE)
    desk.keyboard.type("zz")
    with desk.expect_request(re.compile("q=zz$")):
        pass
    desk.keyboard.press("ControlOrMeta+A")
    desk.keyboard.type(shop.PACK, delay=SLOWLY_MS)
    expect(desk.get_by_role("option")).to_have_count(1)
    desk.wait_for_timeout(1200)
    expect(desk.get_by_role("option")).to_have_count(1)
    expect(desk.get_by_label("Find")).to_have_value(shop.PACK)


def test_a_lost_network_is_told_calmly_and_loses_nothing(window: Open) -> None:
    desk = window("desk")
    in_the_box(desk)
    desk.evaluate("() => { window.fetch = () => Promise.reject(new TypeError('gone')); }")
    desk.keyboard.type(shop.PACK, delay=SLOWLY_MS)
    told = desk.get_by_role("status").filter(has_text="No answer from the register just now.")
    expect(told).to_have_count(1)
    expect(desk.get_by_label("Find")).to_have_value(shop.PACK)
    desk.keyboard.press("Enter")
    expect(desk).to_have_url(re.compile(f"/packs/{shop.PACK}/"))


def test_who_was_signed_out_is_told_so(window: Open) -> None:
    desk = in_the_box(window("desk"))
    desk.context.clear_cookies()
    desk.keyboard.type(shop.PACK, delay=SLOWLY_MS)
    told = desk.get_by_role("status").filter(has_text="Signed out.")
    expect(told).to_have_count(1)
    desk.keyboard.press("Enter")
    expect(desk).to_have_url(re.compile(r"/sign-in/\?next=.*q%3D"))
