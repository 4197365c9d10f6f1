"""What every form does when it is refused, by each hand."""

import re

import pytest
from playwright.sync_api import expect

from tests.browser import shop
from tests.browser.conftest import Take
from tests.browser.hands import PLAIN

pytestmark = [pytest.mark.browser, pytest.mark.usefixtures("standing")]


@pytest.mark.parametrize("take", PLAIN, indirect=True, ids=lambda kind: str(kind.name))
def test_an_error_leads_to_its_field_and_nothing_typed_is_lost(take: Take) -> None:
    desk = take("desk", width=390)
    desk.open("/cores/new/")
    desk.write("Serial of the old pack", shop.OLD)
    desk.write("Deposit held", "-5")
    desk.press("Store")
    expect(desk.page.get_by_role("alert")).to_contain_text("Not stored yet")
    expect(desk.field("Serial of the old pack")).to_have_value(shop.OLD)
    wrong = desk.field("Deposit held")
    expect(wrong).to_have_value("-5")
    expect(wrong).to_have_attribute("aria-invalid", "true")
    expect(wrong).to_have_accessible_description(re.compile("0"))
    desk.follow("Deposit held")
    expect(wrong).to_be_focused()
