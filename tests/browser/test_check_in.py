"""A car comes in, by each hand: known, new, with another pack, under a warranty."""

import re

import pytest
from playwright.sync_api import expect

from packs.models import Claim, Consent, Installation, Visit
from tests import world
from tests.browser import shop
from tests.browser.conftest import Open, Take
from tests.browser.hands import Hand

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
NEW_VIN = "TST12345678900003"
NEW_PACK = "TP-0900"


@pytest.fixture
def office() -> shop.Office:
    shop.make_packs()
    made = shop.Office()
    shop.make_car(made)
    return made


def told(desk: Hand, sentence: str) -> None:
    """The page of the visit says that."""
    expect(desk.page).to_have_url(re.compile("/visits/vi_"))
    expect(desk.told()).to_contain_text(sentence)


def test_a_known_car_is_found_and_checked_in(take: Take, office: shop.Office) -> None:
    desk = take("desk")
    desk.open("/check-in/")
    desk.ask("What came in?", shop.PLATE, "Go on")
    expect(desk.page.get_by_role("heading", level=1)).to_contain_text(shop.PLATE)
    known = desk.page.get_by_role("region", name="What is known")
    expect(known).to_contain_text(shop.OWNER)
    expect(known).to_contain_text(shop.PACK)
    desk.write("Complaint", "warning lamp on the hill")
    desk.write("Odometer", "104900")
    desk.choose("Signed", "Owner agrees to the work")
    desk.moment("Promised for", f"{shop.day(10)}T16:30")
    desk.press("Check in")
    told(desk, f"Checked in: {shop.PLATE}, pack {shop.PACK}.")
    visit = Visit.objects.get()
    assert (visit.complaint, visit.odometer_km) == ("warning lamp on the hill", 104_900)
    assert f"{visit.promised_at:%Y-%m-%dT%H:%M}" == f"{shop.day(10)}T16:30"
    assert Consent.objects.get().how == "signed"


def test_a_car_that_was_never_here_comes_with_owner_and_pack(take: Take) -> None:
    world.pack_type()
    desk = take("desk", width=390)
    desk.open("/check-in/")
    desk.follow("A car that was never here")
    desk.scan("VIN", NEW_VIN)
    desk.write("Plate", "W-77 T")
    desk.write("Owner", "Ines Vale")
    desk.write("Telephone", "0660 456")
    desk.scan("Pack serial", NEW_PACK)
    desk.pick("Pack type", "Type NM-28")
    desk.write("Complaint", "does not start")
    expect(desk.field("VIN")).to_have_value(NEW_VIN)
    expect(desk.field("Pack serial")).to_have_value(NEW_PACK)
    desk.press("Check in")
    told(desk, f"Checked in: W-77 T, pack {NEW_PACK}.")
    sitting = Installation.objects.get()
    assert (sitting.vehicle.vin, sitting.pack and sitting.pack.serial) == (NEW_VIN, NEW_PACK)
    assert sitting.vehicle.customer is not None
    assert sitting.vehicle.customer.phone == "0660 456"


def test_a_pack_that_changed_cars_is_asked_about(take: Take, office: shop.Office) -> None:
    office.post("vehicles", {"vin": shop.OTHER_VIN, "plate": "W-88 K"})
    desk = take("desk", width=820)
    desk.open("/check-in/")
    desk.ask("What came in?", "W-88 K", "Go on")
    desk.write("Complaint", "fan is loud")
    desk.unfold("Something differs")
    desk.scan("Pack serial", shop.PACK)
    if desk.ending != "Enter":
        desk.press("Check in")
    expect(desk.page.get_by_role("alert")).to_be_visible()
    desk.choose("Yes, the serial was read off it", "Which pack is here")
    expect(desk.field("Complaint")).to_have_value("fan is loud")
    desk.press("Check in")
    told(desk, f"Checked in: W-88 K, pack {shop.PACK}.")
    sat, sits = Installation.objects.filter(voided_at=None).order_by("installed_at")
    assert (sat.vehicle.vin, sits.vehicle.vin) == (shop.VIN, shop.OTHER_VIN)
    assert sat.removed_at == sits.installed_at


def test_a_claim_is_opened_under_the_warranty_that_runs(take: Take, office: shop.Office) -> None:
    promise = {"repair_kind": "rebuild", "starts_on": shop.day(-90), "months": 12}
    office.post("warranties", {"pack": shop.PACK, **promise})
    desk = take("desk")
    desk.open("/check-in/")
    desk.ask("What came in?", shop.PACK, "Go on")
    expect(desk.page.get_by_role("region", name="What is known")).to_contain_text("Rebuild: runs")
    desk.write("Complaint", "the same again")
    desk.tick("Rebuild")
    desk.press("Check in")
    told(desk, f"pack {shop.PACK}.")
    assert (Claim.objects.get().decision, Claim.objects.get().visit) == (
        "open",
        Visit.objects.get(),
    )


def test_sent_twice_it_is_stored_once(window: Open, office: shop.Office) -> None:
    desk = window("desk", script=False)
    desk.goto(f"/check-in/?vehicle={shop.VIN}")
    desk.get_by_label("Complaint").fill("warning lamp on the hill")
    with desk.expect_request(lambda request: request.method == "POST") as sent:
        desk.get_by_role("button", name="Check in").first.dblclick()
    expect(desk).to_have_url(re.compile("/visits/vi_"))
    form = {"Content-Type": sent.value.headers["content-type"]}
    again = desk.request.post(sent.value.url, data=sent.value.post_data, headers=form)
    assert "was checked in already" in again.text()
    assert Visit.objects.count() == 1
