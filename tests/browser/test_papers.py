"""Papers: an estimate, the owner's word, the sheet to sign, the shop's own words; by each hand."""

import re

import pytest
from playwright.sync_api import expect

from packs.models import Consent, CostEstimate, PaperText
from tests.browser import shop
from tests.browser.conftest import Open, Take
from tests.browser.hands import PLAIN

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
plain = pytest.mark.parametrize("take", PLAIN, indirect=True, ids=lambda kind: str(kind.name))


@plain
def test_an_estimate_is_made_and_the_owner_agrees(take: Take) -> None:
    shop.make_packs()
    office = shop.Office()
    shop.make_car(office)
    visit = shop.make_stay(office)
    desk = take("desk")
    desk.open(f"/visits/{visit}/papers/")
    desk.follow("Make an estimate")
    desk.write("What", "module, used", "Line 1")
    desk.write("Quantity", "2", "Line 1")
    desk.write("Price of one", "62.50", "Line 1")
    desk.write("What", "rebuild", "Line 2")
    desk.pick("Kind", "Labour", "Line 2")
    desk.write("Quantity", "3.5", "Line 2")
    desk.write("Price of one", "80", "Line 2")
    desk.write("Tax", "20")
    desk.press("Store the estimate")
    expect(desk.told()).to_contain_text("an estimate of 486.00")
    desk.choose("agrees", "The owner")
    desk.choose("By telephone", "How")
    desk.press("Store")
    expect(desk.told()).to_contain_text("the owner agreed")
    expect(desk.page.get_by_role("main")).to_contain_text("486.00")
    consent = Consent.objects.get()
    assert (consent.given, consent.how) == (True, "telephone")
    assert consent.estimate == CostEstimate.objects.get()


@plain
def test_the_shop_writes_its_own_words(take: Take) -> None:
    manager = take("manager", width=820)
    manager.open("/papers/texts/")
    manager.follow("Change the words of the intake sheet")
    manager.write("Heading", "Your car is here")
    manager.press("Store")
    expect(manager.told()).to_contain_text("Stored")
    manager.follow("Preview of the intake sheet")
    expect(manager.page.get_by_role("heading", level=1)).to_have_text("Your car is here")
    assert PaperText.objects.get().paper == "intake"


def test_the_intake_sheet_prints_and_is_a_pdf(window: Open) -> None:
    shop.make_packs()
    office = shop.Office()
    shop.make_car(office)
    visit = shop.make_stay(office, complaint="warning lamp under load")
    desk = window("desk")
    desk.goto(f"/papers/intake/{visit}/")
    expect(desk.get_by_role("main")).to_contain_text("warning lamp under load")
    desk.emulate_media(media="print")
    expect(desk.get_by_role("button", name="Search")).to_be_hidden()
    desk.emulate_media(media="screen")
    pdf = desk.request.get(desk.get_by_role("link", name="PDF").get_attribute("href") or "")
    assert pdf.ok
    assert pdf.body().startswith(b"%PDF-")
    assert re.fullmatch("application/pdf", pdf.headers["content-type"])
