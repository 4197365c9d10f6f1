"""The desk's morning and the fleet, by each hand."""

import re

import pytest
from playwright.sync_api import expect

from packs.models import Call, Visit
from tests.browser import shop
from tests.browser.conftest import Take
from tests.browser.hands import PLAIN

pytestmark = pytest.mark.browser
plain = pytest.mark.parametrize("take", PLAIN, indirect=True, ids=lambda kind: str(kind.name))


@plain
@pytest.mark.django_db(transaction=True)
def test_a_visit_goes_on_and_its_owner_is_called(take: Take) -> None:
    shop.make_packs()
    office = shop.Office()
    shop.make_car(office)
    shop.make_stay(office)
    desk = take("desk")
    desk.open("/today/")
    desk.follow(f"the visit of {shop.PLATE}")
    desk.pick("State", "Waiting: work stands still")
    desk.pick("Waits for", "The owner’s word")
    desk.moment("Promised for", f"{shop.day(10)}T16:30")
    desk.press("Store")
    expect(desk.page).to_have_url(re.compile("/today/"))
    expect(desk.told()).to_contain_text("is changed")
    expect(desk.page.get_by_role("region", name="Calls to make")).to_contain_text(shop.OWNER)
    desk.follow("Note a call")
    desk.choose("Not reached", "Outcome")
    desk.write("What was said", "rang twice")
    desk.press("Note it")
    expect(desk.told()).to_contain_text("The call is noted.")
    visit, call = Visit.objects.get(), Call.objects.get()
    assert (visit.state, visit.waits_for) == ("waiting", "owner")
    assert (call.outcome, call.note) == ("not_reached", "rang twice")


@plain
@pytest.mark.usefixtures("standing")
def test_the_fleet_is_narrowed_ordered_and_opened(take: Take) -> None:
    manager = take("manager")
    manager.open("/packs/")
    manager.pick("Status", "any")
    manager.write("Serial or plate", "tp-01")
    manager.press("Show")
    expect(manager.page.get_by_role("row", name=shop.PACK)).to_be_visible()
    expect(manager.page.get_by_role("row", name=shop.YOUNG)).to_be_visible()
    manager.follow("Last seen")
    expect(manager.page.get_by_role("columnheader", name="Last seen")).to_have_attribute(
        "aria-sort", re.compile("ascending|descending")
    )
    export = manager.page.get_by_role("link", name="Export as CSV")
    expect(export).to_have_attribute("href", re.compile("text=tp-01"))
    manager.follow(shop.PACK)
    expect(manager.page).to_have_url(re.compile(f"/packs/{shop.PACK}/"))
