"""The box on every page, worked by each hand."""

import re

import pytest
from playwright.sync_api import expect

from tests.browser import shop
from tests.browser.conftest import Open, Take

pytestmark = [pytest.mark.browser, pytest.mark.usefixtures("standing")]


def test_a_serial_leads_to_its_pack(take: Take) -> None:
    desk = take("desk")
    desk.open("/")
    desk.search(shop.PACK)
    expect(desk.page).to_have_url(re.compile(f"/packs/{shop.PACK}/"))
    expect(desk.page.get_by_role("heading", level=1)).to_contain_text(shop.PACK)


def test_a_part_is_enough_and_the_one_that_is_meant_is_followed(take: Take) -> None:
    desk = take("desk", width=390)
    desk.open("/search/")
    desk.search("tp 01")
    desk.follow(shop.YOUNG)
    expect(desk.page).to_have_url(re.compile(f"/packs/{shop.YOUNG}/"))


def test_a_name_is_found_by_the_desk_and_by_nobody_at_the_bench(window: Open) -> None:
    desk, bench = window("desk"), window("bench")
    desk.goto("/search/?q=rosalind")
    expect(desk.get_by_role("heading", level=1)).to_contain_text(shop.OWNER)
    bench.goto("/search/?q=rosalind")
    expect(bench.get_by_role("heading", level=1)).to_contain_text("Nothing found")


def test_what_is_found_appears_while_it_is_typed(window: Open) -> None:
    desk = window("desk")
    desk.goto("/")
    expect(desk.get_by_label("Find")).to_be_focused()
    desk.keyboard.type("tp-01")
    expect(desk.get_by_role("link", name=shop.YOUNG)).to_be_visible()
    expect(desk.get_by_label("Find")).to_be_focused()


def test_a_scanner_that_ends_in_tab_needs_nothing_else(window: Open) -> None:
    desk = window("desk")
    desk.goto("/today/")
    desk.get_by_label("Find").click()
    desk.keyboard.type(shop.PACK)
    desk.keyboard.press("Tab")
    expect(desk).to_have_url(re.compile(f"/packs/{shop.PACK}/"))


def test_the_list_under_the_box_is_walked_by_arrows(window: Open) -> None:
    desk = window("desk")
    desk.goto("/today/")
    desk.get_by_label("Find").click()
    desk.keyboard.type(shop.YOUNG[:-1], delay=40)
    expect(desk.get_by_role("option").nth(1)).to_be_visible()
    desk.keyboard.press("Escape")
    expect(desk.get_by_role("option")).to_have_count(0)
    desk.keyboard.press("ArrowDown")
    expect(desk.get_by_role("option").first).to_be_visible()
    desk.keyboard.press("ArrowDown")
    expect(desk.get_by_role("option", selected=True)).to_have_count(1)
    desk.keyboard.press("Enter")
    expect(desk).to_have_url(re.compile("/packs/TP-010"))
