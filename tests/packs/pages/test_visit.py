"""The page of a visit: what it tells, and how it is changed without losing anybody's word."""

import re
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client

from packs.models import Consent, Customer, HistoryEntry, TroubleCode, Vehicle, Visit
from packs.rules.bounds import BAD_YEAR
from packs.rules.identity import encode
from packs.writes import customers, vehicles
from packs.writes.visits import change_visit, open_visit
from tests import world
from tests.pages import inline, signed_in, text, words

pytestmark = pytest.mark.django_db
VIN = "TST12345678900001"
CAME = datetime(2026, 11, 23, 9, 0, tzinfo=UTC)


@pytest.fixture
def visit() -> Visit:
    """A car with its pack and its owner, here for a warning light."""
    by, at = world.actor(), world.later()
    owner = {"name": "Rosalind Marsh", "phone": "0660 123", "email": None}
    customer = customers.create_customer(by=by, at=at, entry=owner).row
    car = {"vin": VIN, "plate": "W-1 X", "customer": encode(Customer.PREFIX, customer.pk)}
    vehicles.create_vehicle(by=by, at=at, entry=car)
    world.pack("TP-0001")
    entry = {
        "vehicle": VIN,
        "pack": "TP-0001",
        "opened_at": CAME,
        "complaint": "warning light",
        "odometer_km": 84_000,
    }
    return open_visit(by=by, at=CAME, entry=entry).row


def address(visit: Visit) -> str:
    return f"/visits/{encode(Visit.PREFIX, visit.pk)}/"


def sent(visit: Visit, **changes: object) -> dict[str, object]:
    """What the form sends, as it was shown."""
    return {
        "sent_as": str(uuid4()),
        "state": "open",
        "waits_for": "nothing",
        "promised_at": "",
        "version": visit.version,
        **changes,
    }


def test_it_tells_what_the_visit_is_about(visit: Visit) -> None:
    TroubleCode.objects.create(
        visit=visit, pack=visit.pack, code="P0A80", control_unit="battery",
        freeze_frame={"speed_km_h": 42, "soc_pct": 55}, **world.posted(b"code"),
    )  # fmt: skip
    Consent.objects.create(
        visit=visit, pack=visit.pack, about="intake", given=True, how="telephone",
        happened_at=CAME, **world.posted(b"consent"),
    )  # fmt: skip
    page = text(signed_in("desk"), address(visit))
    read = words(page)
    for part in (
        "W-1 X", "TP-0001", "warning light", "84 000 km", "P0A80", "soc pct 55, speed km h 42",
        "to the work, given by telephone", "Rosalind Marsh, 0660 123", "a record is no permission",
    ):  # fmt: skip
        assert part in read
    key = encode(Visit.PREFIX, visit.pk)
    for way in (f"/visits/{key}/papers/", f"/photos/new/?pack=TP-0001&amp;visit={key}"):
        assert f'href="{way}"' in page
    assert inline(page) == []


def test_owners_are_for_the_office(visit: Visit) -> None:
    page = text(signed_in("bench"), address(visit))
    assert "Marsh" not in page
    assert "0660" not in page
    assert "W-1 X" in page
    assert "/estimate/" not in page
    assert "/estimate/" in text(signed_in("desk"), address(visit))


def test_a_change_is_stored_and_told(visit: Visit) -> None:
    browser = signed_in("desk")
    body = sent(visit, state="waiting", waits_for="owner", promised_at="2026-11-27T17:00")
    response = browser.post(address(visit), body, follow=True)
    assert response.redirect_chain == [("/today/", 302)]
    assert "The visit of W-1 X is changed." in words(response.content.decode())
    visit.refresh_from_db()
    assert (visit.state, visit.waits_for) == ("waiting", "owner")
    assert visit.promised_at == datetime(2026, 11, 27, 17, tzinfo=UTC)
    line = HistoryEntry.objects.order_by("-revision")[0]
    assert line.action == "changed"
    assert line.recorded_by is not None
    page = text(browser, address(visit))
    assert 'value="2026-11-27T17:00"' in page


def test_a_change_that_somebody_else_overtook_is_told_and_nothing_typed_is_lost(
    visit: Visit,
) -> None:
    body = sent(visit, waits_for="parts")
    change_visit(
        Visit.objects.get(), by=world.actor(), at=CAME + timedelta(hours=1), version=visit.version,
        changes={"state": "ready"},
    )  # fmt: skip
    browser = signed_in("desk")
    response = browser.post(address(visit), body)
    assert response.status_code == 422
    page = response.content.decode()
    assert "It was changed meanwhile" in words(page)
    assert 'role="alert"' in page
    assert '<option value="parts" selected>' in page
    assert "ready, waits for nothing" in words(page)
    assert Visit.objects.get().waits_for == ""
    version = re.search(r'name="version" value="(\d+)"', page)
    assert version is not None
    again = {**body, "version": version.group(1), "state": "ready"}
    assert browser.post(address(visit), again).status_code == 302
    assert (Visit.objects.get().state, Visit.objects.get().waits_for) == ("ready", "parts")


def shown(browser: Client, visit: Visit) -> dict[str, str]:
    """What a browser sends of the form that it was shown, or that came back."""
    return fields(browser.get(address(visit)))


def fields(response: Any) -> dict[str, str]:
    form = re.findall(r'(?s)<form method="post" class="entry".*?</form>', response.content.decode())
    found: dict[str, str] = {}
    for box in re.findall(r"<input [^>]+>", form[0]):
        told = dict(re.findall(r'(name|value)="([^"]*)"', box))
        found[told["name"]] = told.get("value", "")
    for name, choices in re.findall(r'(?s)<select name="([^"]+)".*?>(.*?)</select>', form[0]):
        found[name] = re.findall(r'value="([^"]*)" selected', choices)[0]
    return found


def test_what_nobody_touched_stays_as_a_colleague_set_it(visit: Visit) -> None:
    desk = signed_in("desk")
    mine = {**shown(desk, visit), "promised_at": "2026-11-27T17:00"}
    meanwhile = {"state": "ready", "waits_for": "collection"}
    at = CAME + timedelta(hours=1)
    change_visit(visit, by=world.actor(), at=at, version=visit.version, changes=meanwhile)
    told = desk.post(address(visit), mine)
    assert told.status_code == 422
    again = fields(told)
    assert (again["state"], again["promised_at"]) == ("ready", "2026-11-27T17:00")
    assert desk.post(address(visit), again).status_code == 302
    stands = Visit.objects.get()
    assert (stands.state, stands.waits_for) == ("ready", "collection")
    assert stands.promised_at == datetime(2026, 11, 27, 17, tzinfo=UTC)


def test_a_promise_made_meanwhile_is_not_taken_back(visit: Visit) -> None:
    desk = signed_in("desk")
    mine = {**shown(desk, visit), "waits_for": "parts"}
    promised = datetime(2026, 11, 27, 17, 0, 30, tzinfo=UTC)
    meanwhile = {"promised_at": promised}
    change_visit(visit, by=world.actor(), at=CAME, version=1, changes=meanwhile)
    again = fields(desk.post(address(visit), mine))
    assert again["promised_at"] == "2026-11-27T17:00"
    desk.post(address(visit), again)
    assert (Visit.objects.get().promised_at, Visit.objects.get().waits_for) == (promised, "parts")


def test_only_what_was_changed_is_written(visit: Visit) -> None:
    promised = datetime(2026, 11, 27, 17, 0, 30, tzinfo=UTC)
    change_visit(
        visit, by=world.actor(), at=CAME, version=visit.version, changes={"promised_at": promised}
    )
    before = HistoryEntry.objects.count()
    browser = signed_in("desk")
    body = sent(visit, promised_at="2026-11-27T17:00")
    assert browser.post(address(visit), body).status_code == 302
    assert HistoryEntry.objects.count() == before
    assert Visit.objects.get().promised_at == promised
    browser.post(address(visit), sent(visit, waits_for="bench", promised_at="2026-11-27T17:00"))
    assert Visit.objects.get().promised_at == promised
    assert HistoryEntry.objects.count() == before + 1


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("state", "lost", "lost is not one of the available choices"),
        ("waits_for", "rain", "rain is not one of the available choices"),
        ("promised_at", "soon", "Enter a valid date/time"),
        ("promised_at", "2026-11-22T09:00", "That is before it came"),
        ("promised_at", "2062-11-27T09:00", "over two years after it came"),
        ("promised_at", "0001-01-01T00:00", BAD_YEAR),
        ("version", "", "Open the page again"),
    ],
)
def test_what_cannot_be_is_told_beside_its_field(
    visit: Visit, field: str, value: str, said: str
) -> None:
    response = signed_in("desk").post(address(visit), sent(visit, **{field: value}))
    assert response.status_code == 422
    assert said in words(response.content.decode())
    visit.refresh_from_db()
    assert visit.version == 1


def test_a_promise_can_be_taken_back_and_a_visit_closed(visit: Visit) -> None:
    browser = signed_in("bench")
    browser.post(address(visit), sent(visit, promised_at="2026-11-27T17:00"))
    assert Visit.objects.get().promised_at is not None
    response = browser.post(address(visit), sent(visit, version=2, state="closed"), follow=True)
    assert "The visit of W-1 X is closed." in words(response.content.decode())
    assert Visit.objects.get().promised_at is None


def test_a_car_without_a_pack_and_a_pack_without_a_car_have_their_page() -> None:
    browser = signed_in("desk")
    vehicles.create_vehicle(by=world.actor(), at=world.later(), entry={"vin": VIN})
    car = Vehicle.objects.get()
    alone = Visit.objects.create(vehicle=car, opened_at=CAME, **world.posted(b"a"))
    assert "not known yet" in words(text(browser, address(alone)))
    bare = Visit.objects.create(pack=world.pack(), opened_at=CAME, **world.posted(b"b"))
    read = words(text(browser, address(bare)))
    assert "Visit of TP-0001" in read
    assert "a pack without a car" in read


def test_who_may_not_and_what_is_not_there(visit: Visit) -> None:
    assert signed_in("machine").get(address(visit)).status_code == 403
    assert Client().get(address(visit)).status_code == 302
    desk = signed_in("desk")
    assert desk.get("/visits/vi_00000000/").status_code == 404
    assert desk.get("/visits/nothing/").status_code == 404
