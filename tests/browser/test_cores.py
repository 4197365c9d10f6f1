"""An old pack is owed, and comes back: by each hand."""

import pytest
from playwright.sync_api import expect

from packs.models import Core
from tests.browser import shop
from tests.browser.conftest import Take

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_a_core_is_owed_and_comes_back(take: Take) -> None:
    shop.make_packs()
    desk = take("desk")
    desk.open("/cores/")
    desk.follow("A core is owed")
    desk.scan("Serial of the old pack", shop.OLD)
    desk.write("Deposit held", "300")
    desk.moment("To be back by", shop.day(20))
    expect(desk.field("Serial of the old pack")).to_have_value(shop.OLD)
    desk.press("Store")
    expect(desk.told()).to_contain_text("is owed as a core")
    desk.follow("It came back")
    desk.choose("Accepted", "Decision")
    desk.choose("Yes", "Complete")
    desk.choose("No", "Opened")
    desk.choose("No", "Flooded")
    desk.press("Store")
    expect(desk.told()).to_contain_text("the core is accepted")
    due, back = Core.objects.order_by("pk")
    assert (due.state, back.state, back.supersedes) == ("due", "accepted", due)
    assert (back.complete, back.opened, back.flooded) == (True, False, False)
