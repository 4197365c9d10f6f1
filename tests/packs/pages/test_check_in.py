"""The page of a check-in: found in a few keys, everything typed kept, each fault at its field."""

import re
from datetime import timedelta
from html import unescape
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from packs.models import Claim, Consent, Customer, Pack, PackType, Site, TroubleCode, Vehicle, Visit
from packs.pages.arrival import CODE_ROWS_MAX
from packs.pages.check_in import guess
from packs.rules.identity import encode
from packs.rules.paper_words import DEFAULTS
from packs.writes import (
    clients,
    customers,
    installations,
    paper_texts,
    vehicles,
    visits,
    warranties,
)
from tests import world
from tests.pages import inline, signed_in, text, words
from tests.world import later

pytestmark = pytest.mark.django_db
ADDRESS = "/check-in/"
VIN, OTHER_VIN, NEW_VIN = "TST12345678900001", "TST12345678900002", "TST12345678900003"
CAR = f"{ADDRESS}?vehicle={VIN}"


@pytest.fixture(autouse=True)
def shop() -> None:
    clients.pages_client(at=later())
    car("Rosalind Marsh", VIN, "W-1234 X", "TP-0101")
    car("Edda Thornley", OTHER_VIN, "K-77 B", "TP-0202")


def car(owner: str, vin: str, plate: str, serial: str) -> None:
    by, at = world.actor(), later()
    customer = customers.create_customer(by=by, at=at, entry={"name": owner, "phone": "0660 1"}).row
    told = {"vin": vin, "plate": plate, "customer": encode(customer.PREFIX, customer.pk)}
    vehicles.create_vehicle(by=by, at=at, entry=told)
    world.pack(serial)
    put = {"pack": serial, "vehicle": vin, "installed_at": later(), "installed_km": 1000}
    installations.record_installation(by=by, at=at, entry=put)


def promise(**changes: Any) -> None:
    today = timezone.now().date()
    entry = {
        "pack": "TP-0101",
        "repair_kind": "rebuild",
        "starts_on": today - timedelta(days=30),
        "months": 12,
        "km": 20_000,
        "starts_km": 90_000,
        "covers": "all modules",
        "excludes": "water damage",
        "labour": True,
        **changes,
    }
    warranties.record_warranty(by=world.actor(), at=timezone.now(), entry=entry)


@pytest.fixture
def desk() -> Client:
    return signed_in("desk")


class Sheet:
    """A page with its form: what its fields hold, and how it is sent."""

    def __init__(self, client: Client, address: str) -> None:
        self.client, self.address = client, address
        self.read(client.get(address))

    def read(self, response: Any) -> None:
        self.status = response.status_code
        self.html = response.content.decode()
        self.words = unescape(words(self.html))
        form = response.context["form"]
        fields = [*form.hidden_fields(), *form.visible_fields()]
        self.held = {field.html_name: _plain(field.value()) for field in fields}
        self.held = {name: value for name, value in self.held.items() if value}

    def send(self, **typed: Any) -> Any:
        response = self.client.post(self.address, {**self.held, **typed})
        if response.status_code != 302:
            self.read(response)
        return response

    def beside(self, name: str) -> str:
        """What stands beside a field that is wrong; its summary links there."""
        told = re.search(rf'id="id_{name}-error">([^<]+)<', self.html)
        assert f'href="#id_{name}"' in self.html
        return unescape(told[1]) if told else ""


def _plain(value: Any) -> Any:
    if value is True:
        return "on"
    return value if isinstance(value, list) else "" if value in {None, False} else str(value)


@pytest.mark.parametrize("typed", ["w1234x", VIN, f"*{VIN}*", "W-1234"])
def test_a_car_is_found_by_what_is_typed_or_scanned(desk: Client, typed: str) -> None:
    assert desk.get(ADDRESS, {"q": typed}).headers["Location"] == CAR


def test_a_pack_leads_to_its_car_and_a_name_to_the_cars(desk: Client) -> None:
    assert desk.get(ADDRESS, {"q": "tp-0101"}).headers["Location"] == f"{ADDRESS}?pack=TP-0101"
    assert "W-1234 X" in text(desk, f"{ADDRESS}?pack=TP-0101")
    owned = text(desk, f"{ADDRESS}?q=rosalind")
    assert f"?vehicle={VIN}" in owned
    assert "another car" in owned


def test_several_are_listed_with_a_way_on_to_a_new_car(desk: Client) -> None:
    world.module("M-00")
    listed = text(desk, f"{ADDRESS}?q=TST1234567890000")
    assert listed.count("?vehicle=TST") == 2
    assert "None of these" in listed
    assert "M-00" not in listed


@pytest.mark.parametrize(
    ("typed", "name", "value"),
    [
        ("tst 12345678900009", "vehicle__vin", "TST12345678900009"),
        ("l 99 zz", "vehicle__plate", "L 99 ZZ"),
        ("Nobody Known", "owner__name", "Nobody Known"),
    ],
)
def test_what_is_found_nowhere_begins_a_new_car(
    desk: Client, typed: str, name: str, value: str
) -> None:
    page = Sheet(desk, f"{ADDRESS}?q={typed}")
    assert f"Nothing is recorded for “{typed}”" in page.words
    assert page.held[name] == value
    assert guess("12") == {"vehicle__plate": "12"}


@pytest.mark.parametrize("query", ["vehicle=NONE", "pack=NONE", "new=1&customer=cu_00000000"])
def test_what_is_not_there_has_no_sheet(desk: Client, query: str) -> None:
    assert desk.get(f"{ADDRESS}?{query}").status_code == 404


def test_one_look_at_a_known_car(desk: Client) -> None:
    promise()
    promise(starts_on=timezone.now().date() - timedelta(days=400), repair_kind="module_swap")
    said = {"vehicle": VIN, "complaint": "noise", "odometer_km": 91_000}
    opened_at = timezone.now() - timedelta(days=10)
    visits.open_visit(by=world.actor(), at=opened_at, entry=said)
    page = Sheet(desk, CAR)
    for told in (
        "Rosalind Marsh", "0660 1", "TP-0101", "in service", "noise", "91 000 km",
        "Covers all modules", "Not covered: water damage", "Labour is covered", "or 110 000 km",
        "whichever comes first", "Module swap", "Goodwill is the manager’s to give",
        "It is here already", "licensed practice decide", "Before the car is switched off",
    ):  # fmt: skip
        assert told in page.words.replace("\u202f", " "), told
    assert 'href="/packs/TP-0101/"' in page.html
    assert inline(page.html) == []


def test_a_known_car_is_checked_in_with_a_complaint_and_an_odometer(desk: Client) -> None:
    sent = Sheet(desk, CAR).send(visit__complaint="Light on", visit__odometer_km="98000")
    visit = Visit.objects.get()
    assert sent.headers["Location"] == f"/visits/{encode('vi', visit.pk)}/"
    assert (visit.complaint, visit.odometer_km, visit.waits_for) == (
        "Light on",
        98_000,
        "diagnosis",
    )
    assert (visit.pack, visit.vehicle) == (
        Pack.objects.get(serial="TP-0101"),
        Vehicle.objects.get(vin=VIN),
    )
    assert not Consent.objects.exists()
    after = text(desk, sent.headers["Location"])
    assert "Checked in: W-1234 X, pack TP-0101." in words(after)
    assert f'href="/papers/intake/{encode("vi", visit.pk)}/"' in after


def test_a_new_owner_car_and_pack_on_one_sheet(desk: Client) -> None:
    sheet = Sheet(desk, f"{ADDRESS}?new=")
    sent = sheet.send(
        vehicle__vin=NEW_VIN.lower(), vehicle__plate="L-9", vehicle__model_year="2016",
        owner__name="Zeb Westaway", owner__phone="0660 3", pack__serial="*TP-0900*",
        pack__pack_type="NM-28", visit__complaint="No start", visit__odometer_km="120000",
        codes__0__code="p0a80", codes__0__status="confirmed",
        codes__0__freeze_frame="coolant temperature: 84\n\nstate: driving",
        consent__how="signed",
    )  # fmt: skip
    assert sent.status_code == 302
    visit = Visit.objects.get()
    assert visit.vehicle
    assert visit.vehicle.customer
    assert visit.pack
    assert (visit.vehicle.customer.name, visit.pack.serial) == ("Zeb Westaway", "TP-0900")
    code = TroubleCode.objects.get()
    assert code.freeze_frame == {"coolant temperature": 84.0, "state": "driving"}
    assert (Consent.objects.get().wording, Consent.objects.get().how) == (
        DEFAULTS["intake"].closing,
        "signed",
    )


def test_a_car_whose_pack_nobody_read_is_told_plainly(desk: Client) -> None:
    sheet = Sheet(desk, f"{ADDRESS}?new=")
    sent = sheet.send(vehicle__vin=NEW_VIN, visit__complaint="No start")
    told = words(text(desk, sent.headers["Location"]))
    assert "this is a visit of the car alone" in told
    assert "check digit" in told


def test_the_wording_is_the_shop_s_own(desk: Client) -> None:
    own = {
        "paper": "intake",
        "heading": "Intake",
        "opening": "Good day.",
        "closing": "We look first.",
    }
    paper_texts.create_paper_text(by=world.actor(), at=later(), entry=own)
    sheet = Sheet(desk, CAR)
    assert "We look first." in sheet.words
    sheet.send(visit__complaint="Light on", consent__how="telephone")
    assert Consent.objects.get().wording == "We look first."


def test_a_moved_pack_is_asked_about_answered_and_stored(desk: Client) -> None:
    sheet = Sheet(desk, CAR)
    typed = {"visit__complaint": "Light on", "pack__serial": "TP-0202"}
    before = world.contents()
    assert sheet.send(**typed).status_code == 422
    assert world.contents() == before
    assert "last recorded in car TST12345678900002 (K-77 B)" in sheet.words
    assert "recorded already" in sheet.beside("pack__serial")
    assert sheet.held["visit__complaint"] == "Light on"
    assert sheet.send(pack__moved="yes_here").status_code == 302
    visit = Visit.objects.get()
    assert visit.pack == Pack.objects.get(serial="TP-0202")
    told = words(text(desk, f"/visits/{encode('vi', visit.pk)}/"))
    assert "TP-0101 no longer counts as sitting in W-1234 X" in told
    assert "TP-0202 no longer counts as sitting in K-77 B" in told


def test_a_misread_serial(desk: Client) -> None:
    sheet = Sheet(desk, CAR)
    sheet.send(visit__complaint="Light on", pack__serial="TP-0202")
    assert sheet.send(pack__moved="misread").status_code == 302
    assert Visit.objects.get().pack == Pack.objects.get(serial="TP-0101")


def test_an_answer_about_another_serial_counts_for_nothing(desk: Client) -> None:
    world.pack("TP-0303")
    sheet = Sheet(desk, CAR)
    sheet.send(visit__complaint="Light on", pack__serial="TP-0202")
    again = sheet.send(pack__moved="yes_here", pack__serial="TP-0303")
    assert again.status_code == 422
    assert "TP-0303" in sheet.beside("pack__moved")
    assert "pack__moved" not in sheet.held


def test_another_owner_is_asked_about(desk: Client) -> None:
    sheet = Sheet(desk, CAR)
    sheet.send(visit__complaint="Light on", owner__name="Zeb Westaway")
    assert "recorded owner of this car is Rosalind Marsh" in sheet.beside("owner__still")
    sheet.send(owner__still="passed_on")
    owner = Vehicle.objects.get(vin=VIN).customer
    assert owner
    assert owner.name == "Zeb Westaway"


def test_a_new_car_of_a_known_owner(desk: Client) -> None:
    edda = Customer.objects.get(name="Edda Thornley")
    key = encode("cu", edda.pk)
    chosen = Sheet(desk, f"{ADDRESS}?customer={key}")
    assert chosen.send(vehicle__vin=NEW_VIN, visit__complaint="Light on").status_code == 302
    assert Vehicle.objects.get(vin=NEW_VIN).customer == edda
    asked = Sheet(desk, f"{ADDRESS}?new=")
    other = {"vehicle__vin": "TST12345678900004", "owner__name": "Edda Thornley"}
    asked.send(visit__complaint="Light on", **other)
    assert "Is it the same person" in asked.beside("owner__customer")
    assert "Edda Thornley · 0660 1 · K-77 B" in asked.words
    assert asked.send(owner__customer=key).status_code == 302
    assert Customer.objects.count() == 2


def test_a_car_typed_as_new_that_is_recorded_is_shown_first(desk: Client) -> None:
    promise()
    sheet = Sheet(desk, f"{ADDRESS}?new=")
    typed = {"vehicle__vin": VIN, "vehicle__plate": "W-9", "visit__complaint": "Light on"}
    assert sheet.send(**typed).status_code == 422
    assert "recorded already" in sheet.beside("vehicle__vin")
    assert "recorded with the plate W-1234 X" in sheet.beside("vehicle__same_car")
    assert "Open a claim under" in sheet.words
    assert not Visit.objects.exists()
    assert sheet.send(vehicle__same_car="on").status_code == 302
    assert Vehicle.objects.get(vin=VIN).plate == "W-9"


def claims_offered(sheet: Sheet) -> list[str]:
    return re.findall(r'name="claims" value="(\w+)"', sheet.html)


def test_a_returning_repair_is_recognised_and_claimed(desk: Client) -> None:
    promise()
    sheet = Sheet(desk, CAR)
    (warranty,) = claims_offered(sheet)
    over = {"visit__complaint": "Light on", "visit__odometer_km": "110400", "claims": [warranty]}
    assert sheet.send(**over).status_code == 422
    assert "400 km past its end" in sheet.words
    assert "ended 400 km ago" in sheet.words.replace("\u202f", " ")
    assert not Visit.objects.exists()
    assert sheet.send(visit__odometer_km="100400").status_code == 302
    assert Claim.objects.get().visit == Visit.objects.get()


def test_a_warranty_that_ended_is_no_tick(desk: Client) -> None:
    promise(starts_on=timezone.now().date() - timedelta(days=800))
    sheet = Sheet(desk, CAR)
    assert claims_offered(sheet) == []
    assert "No warranty of ours runs" in sheet.words


def test_a_lower_odometer_is_confirmed_in_the_unit_of_the_site(desk: Client) -> None:
    Sheet(desk, CAR).send(visit__complaint="Light on", visit__odometer_km="98000")
    Site.objects.create(
        code="w", name="W", time_zone="UTC", distance="mi", **world.posted(b"0" * 32)
    )
    sheet = Sheet(desk, CAR)
    sheet.send(visit__complaint="Again", visit__odometer_km="5000")
    told = sheet.beside("visit__odometer_sure").replace("\u202f", " ")
    assert "5 000 mi is less than the 60 894 mi read on" in told
    back = {"visit__here_already": "on"}
    other = sheet.send(visit__odometer_sure="on", visit__odometer_km="4000", **back)
    assert other.status_code == 422
    assert sheet.send(visit__odometer_sure="on").status_code == 302
    assert Visit.objects.order_by("-pk")[0].odometer_km == 6437


@pytest.mark.parametrize(
    ("typed", "name"),
    [
        ({"visit__complaint": ""}, "visit__complaint"),
        ({"visit__odometer_km": "many"}, "visit__odometer_km"),
        ({"visit__opened_at": "2999-01-01T10:00"}, "visit__opened_at"),
        ({"visit__opened_at": "0001-01-01T00:00"}, "visit__opened_at"),
        ({"visit__promised_at": "2001-01-01T10:00"}, "visit__promised_at"),
        ({"codes__0__code": "XYZ"}, "codes__0__code"),
        ({"codes__0__status": "pending"}, "codes__0__code"),
        ({"codes__0__code": "P0A80", "codes__0__freeze_frame": "84"}, "codes__0__freeze_frame"),
        ({"vehicle__vin": "SHORT"}, "vehicle__vin"),
        ({"vehicle__vin": ""}, "vehicle__vin"),
        ({"vehicle__model_year": "1700"}, "vehicle__model_year"),
        ({"owner__email": "nobody"}, "owner__email"),
        ({"pack__serial": "-TP"}, "pack__serial"),
        ({"pack__serial": "TP-0404"}, "pack__pack_type"),
    ],
)
def test_what_is_wrong_stands_at_its_field_and_nothing_is_lost_or_stored(
    desk: Client, typed: dict[str, str], name: str
) -> None:
    sheet = Sheet(desk, f"{ADDRESS}?new=")
    right = {
        "vehicle__vin": NEW_VIN, "vehicle__plate": "L-9", "visit__complaint": "Light on",
        "owner__name": "Zeb Westaway",
    }  # fmt: skip
    before = world.contents()
    assert sheet.send(**{**right, **typed}).status_code == 422
    assert sheet.beside(name)
    held = {field: value for field, value in {**right, **typed}.items() if value}
    assert {field: sheet.held.get(field) for field in held} == held
    assert "Not stored yet" in sheet.words
    assert world.contents() == before


@pytest.mark.parametrize(
    "typed",
    [
        {"rows": "9" * 5000},
        {"rows": "x"},
        {"vehicle__vin": "TST\0"},
        {"pack__serial": "TP\0"},
        {"owner__name": "Zeb\0"},
        {"claims": ["wa_00000000"]},
        {"pack__moved": "perhaps"},
        {"sent_as": "no uuid"},
    ],
)
def test_what_no_sheet_sends_is_refused(desk: Client, typed: dict[str, Any]) -> None:
    sheet = Sheet(desk, f"{ADDRESS}?new=")
    before = world.contents()
    assert sheet.send(**{"visit__complaint": "Light on", **typed}).status_code == 422
    assert world.contents() == before


def test_more_codes_without_losing_what_is_typed(desk: Client) -> None:
    promise()
    sheet = Sheet(desk, CAR)
    (warranty,) = claims_offered(sheet)
    sheet.send(more="1", codes__0__code="P0A80", visit__complaint="", claims=[warranty])
    assert (sheet.status, sheet.held["codes__0__code"]) == (200, "P0A80")
    assert sheet.held["claims"] == [warranty]
    assert 'name="codes__1__code"' in sheet.html
    assert "Not stored yet" not in sheet.words
    for _ in range(CODE_ROWS_MAX):
        sheet.send(more="1")
    assert f'name="codes__{CODE_ROWS_MAX - 1}__code"' in sheet.html
    assert f'name="codes__{CODE_ROWS_MAX}__code"' not in sheet.html
    assert "Add another code" not in sheet.words
    sheet.send(visit__complaint="Light on", codes__1__code="P3000", codes__5__code="C1310")
    assert sorted(row.code for row in TroubleCode.objects.all()) == ["C1310", "P0A80", "P3000"]


def test_sent_twice_it_is_stored_once(desk: Client) -> None:
    sheet = Sheet(desk, CAR)
    typed = {"visit__complaint": "Light on", "codes__0__code": "P0A80", "consent__how": "in_person"}
    first = sheet.send(**typed)
    before = world.contents()
    again = sheet.send(**typed)
    assert again.headers["Location"] == first.headers["Location"]
    assert world.contents() == before
    told = words(text(desk, again.headers["Location"]))
    assert "was checked in already; nothing was stored twice" in told
    assert sheet.send(**{**typed, "visit__complaint": "Another"}).status_code == 422
    assert "This sheet was stored before with something else on it" in sheet.words


def test_a_pack_that_came_without_its_car(desk: Client) -> None:
    assert "alone=1" in text(desk, CAR)
    sheet = Sheet(desk, f"{ADDRESS}?pack=TP-0101&alone=1")
    assert sheet.send(visit__complaint="Sent in by a garage").status_code == 302
    visit = Visit.objects.get()
    assert (visit.vehicle, visit.pack) == (None, Pack.objects.get(serial="TP-0101"))


def test_a_car_that_never_left_is_asked_about_and_leads_to_its_visit(desk: Client) -> None:
    Sheet(desk, CAR).send(visit__complaint="Light on")
    first = Visit.objects.get()
    sheet = Sheet(desk, CAR)
    way = f'class="button" href="/visits/{encode(Visit.PREFIX, first.pk)}/">To the open visit<'
    assert way in sheet.html
    assert "only if it left and came back since" in sheet.words
    assert sheet.send(visit__complaint="Again").status_code == 422
    assert "It is here already: its visit of" in sheet.beside("visit__here_already")
    assert Visit.objects.count() == 1
    done = sheet.send(visit__here_already="on")
    assert Visit.objects.count() == 2
    assert "is not closed yet" in words(text(desk, done.headers["Location"]))


def test_a_word_that_was_no_is_kept(desk: Client) -> None:
    sheet = Sheet(desk, CAR)
    assert sheet.send(visit__complaint="Light on", consent__how="refused").status_code == 302
    word = Consent.objects.get()
    assert (word.given, word.how, word.about) == (False, "in_person", "intake")
    assert word.wording == DEFAULTS["intake"].closing


def test_a_scrapped_pack_by_itself_is_asked_about(desk: Client) -> None:
    world.pack("TP-OLD", status="scrapped")
    sheet = Sheet(desk, f"{ADDRESS}?pack=TP-OLD")
    sheet.send(visit__complaint="Found")
    assert "recorded as" in sheet.beside("pack__moved")
    assert sheet.send(pack__moved="yes_here").status_code == 302


@pytest.mark.parametrize(("role", "status"), [("desk", 200), ("manager", 200), ("bench", 403)])
def test_it_is_the_office_that_checks_in(role: str, status: int) -> None:
    client = signed_in(role)
    assert client.get(CAR).status_code == status
    before = world.contents()
    sent = client.post(CAR, {"visit__complaint": "Light on"})
    assert sent.status_code == (403 if role == "bench" else 422)
    assert world.contents() == before


def test_nobody_in_particular_is_sent_to_sign_in() -> None:
    assert Client().get(CAR).headers["Location"].startswith("/sign-in/")


def test_few_queries(desk: Client, django_assert_max_num_queries: Any) -> None:
    promise()
    PackType.objects.count()
    with django_assert_max_num_queries(25):
        sheet = Sheet(desk, CAR)
    with django_assert_max_num_queries(75):
        sheet.send(visit__complaint="Light on", visit__odometer_km="98000")
