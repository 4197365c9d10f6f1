"""The desk's first act: all of it or nothing, and nothing that differs is assumed."""

import threading
import time
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection, connections, transaction

from packs.errors import Conflict, Contradiction, DomainError
from packs.models import (
    Claim,
    Consent,
    Customer,
    HistoryEntry,
    Installation,
    Ownership,
    Pack,
    TroubleCode,
    Vehicle,
    Visit,
    Warranty,
)
from packs.reads.verifying import breaches
from packs.rules.identity import encode
from packs.writes import customers, installations, vehicles, warranties
from packs.writes.check_in import CheckedIn, check_in
from packs.writes.recording import lock
from packs.writes.visits import change_visit, open_visit
from tests import world
from tests.world import later

pytestmark = pytest.mark.django_db
VIN, OTHER_VIN, NEW_VIN = "TST12345678900001", "TST12345678900002", "TST12345678900003"
NOW = later(days=400)


@pytest.fixture(autouse=True)
def shop() -> None:
    """Two cars of two owners with a pack each, and a pack on the shelf."""
    car("Rosalind Marsh", VIN, "W-1234 X", "TP-0001")
    car("Edda Thornley", OTHER_VIN, "K-77 B", "TP-0002")
    world.pack("TP-0003", status="shelf")


def car(owner: str, vin: str, plate: str, serial: str) -> None:
    by, at = world.actor(), later()
    customer = customers.create_customer(by=by, at=at, entry={"name": owner, "phone": "0660 1"}).row
    key = encode(customer.PREFIX, customer.pk)
    vehicles.create_vehicle(by=by, at=at, entry={"vin": vin, "plate": plate, "customer": key})
    world.pack(serial)
    put_in(serial, vin)


def put_in(serial: str, vin: str, **more: Any) -> None:
    entry = {"pack": serial, "vehicle": vin, "installed_at": later(), "installed_km": 1000, **more}
    installations.record_installation(by=world.actor(), at=later(), entry=entry)


def promise(serial: str = "TP-0001", **changes: Any) -> str:
    """A warranty by its id: twelve months and 20,000 km from 1,000 km on."""
    entry = {
        "pack": serial,
        "repair_kind": "rebuild",
        "starts_on": later(days=300).date(),
        "months": 12,
        "km": 20_000,
        "starts_km": 1000,
        **changes,
    }
    row = warranties.record_warranty(by=world.actor(), at=later(days=300), entry=entry).row
    return encode(Warranty.PREFIX, row.pk)


def stay(**changes: Any) -> dict[str, Any]:
    return {"complaint": "Warning light on the hill", "odometer_km": 9000, **changes}


def arrive(at: Any = NOW, **entry: Any) -> CheckedIn:
    entry = {"vehicle": {"vin": VIN}, "visit": stay(), "external_id": "page:1", **entry}
    return check_in(by=world.actor("desk", "pages"), at=at, entry=entry)


def refused(**entry: Any) -> dict[str, str]:
    """What is asked or refused, by pointer; and nothing is stored."""
    by = world.actor("desk", "pages")
    before = world.contents()
    with pytest.raises(DomainError) as caught:
        check_in(by=by, at=NOW, entry={"vehicle": {"vin": VIN}, "visit": stay(), **entry})
    assert world.contents() == before
    return {fault.pointer: fault.detail for fault in caught.value.faults}


def in_car(vin: str) -> list[str]:
    rows = Installation.objects.filter(
        vehicle__vin=vin, voided_at__isnull=True, removed_at__isnull=True
    )
    return sorted(row.pack.serial for row in rows.select_related("pack") if row.pack)


def test_a_known_car_with_its_pack() -> None:
    done = arrive()
    visit = done.visit
    assert (done.created, done.ended) == (True, ())
    assert visit.vehicle == Vehicle.objects.get(vin=VIN)
    assert visit.pack == Pack.objects.get(serial="TP-0001")
    assert (visit.opened_at, visit.waits_for, visit.odometer_km) == (NOW, "diagnosis", 9000)
    assert Pack.objects.get(serial="TP-0001").status == "in_shop"
    assert Installation.objects.count() == 2
    kinds = HistoryEntry.objects.filter(pack=visit.pack, recorded_at__gte=NOW)
    assert [(row.kind, row.action) for row in kinds.order_by("revision")] == [
        ("visit", "recorded"),
        ("pack", "changed"),
    ]
    assert list(breaches()) == []


def test_a_pack_in_the_shop_already_stays_so_without_a_line() -> None:
    arrive()
    back = stay(here_already=True)
    arrive(external_id="page:2", at=NOW + timedelta(days=1), visit=back)
    assert HistoryEntry.objects.filter(kind="pack", action="changed").count() == 1


def test_everything_new() -> None:
    frame = {"coolant temperature": 84.0}
    done = arrive(
        vehicle={"vin": "tst 1234567890 0003", "plate": "L-9", "model_year": 2016},
        owner={"name": "Zeb Westaway", "phone": "0660 3"},
        pack={"serial": "TP-0900", "pack_type": "NM-28"},
        codes=[
            {"code": "p0a80", "freeze_frame": frame},
            {},
            {"code": "P3000", "status": "pending"},
        ],
        consent={"how": "signed", "wording": "as printed"},
    )
    owner = Customer.objects.get(name="Zeb Westaway")
    vehicle = Vehicle.objects.get(vin=NEW_VIN)
    assert (vehicle.customer, vehicle.plate, vehicle.model_year) == (owner, "L-9", 2016)
    assert Ownership.objects.get(vehicle=vehicle).from_at == NOW
    pack = Pack.objects.get(serial="TP-0900")
    assert (pack.status, done.visit.pack, in_car(NEW_VIN)) == ("in_shop", pack, ["TP-0900"])
    put = Installation.objects.get(vehicle=vehicle)
    assert (put.installed_at, put.installed_km) == (NOW, 9000)
    codes = TroubleCode.objects.order_by("pk").values_list("code", "status", "freeze_frame")
    assert list(codes) == [("P0A80", "", frame), ("P3000", "pending", None)]
    word = Consent.objects.get()
    assert (word.visit, word.about, word.how, word.given) == (done.visit, "intake", "signed", True)
    assert word.wording == "as printed"
    assert list(breaches()) == []


def test_a_car_without_a_known_pack_has_a_visit_of_its_own() -> None:
    done = arrive(vehicle={"vin": NEW_VIN}, codes=[{"code": "P0A80"}])
    assert (done.visit.pack, done.visit.trouble_codes.count()) == (None, 1)


def test_a_pack_by_itself() -> None:
    done = arrive(vehicle={}, pack={"serial": "tp-0002"})
    assert (done.visit.vehicle, in_car(OTHER_VIN)) == (None, ["TP-0002"])
    assert Pack.objects.get(serial="TP-0002").status == "in_shop"


def test_a_pack_from_the_shelf_is_put_into_an_empty_car_without_a_question() -> None:
    arrive(vehicle={"vin": NEW_VIN}, pack={"serial": "TP-0003"})
    assert in_car(NEW_VIN) == ["TP-0003"]


def test_a_pack_that_is_recorded_in_another_car_is_asked_about() -> None:
    asked = refused(pack={"serial": "tp-0002"})
    assert asked.keys() == {"/pack/moved"}
    assert f"TP-0002 was last recorded in car {OTHER_VIN} (K-77 B)" in asked["/pack/moved"]
    assert "This car is recorded with pack TP-0001" in asked["/pack/moved"]


def test_it_is_in_this_car_now() -> None:
    done = arrive(pack={"serial": "TP-0002", "moved": "yes_here", "removed_km": 5000})
    assert (in_car(VIN), in_car(OTHER_VIN)) == (["TP-0002"], [])
    assert {row.pack.serial for row in done.ended if row.pack} == {"TP-0001", "TP-0002"}
    ended = {row.vehicle.vin: row for row in done.ended}
    assert {row.removed_at for row in done.ended} == {NOW}
    assert (ended[OTHER_VIN].removed_km, ended[VIN].removed_km) == (5000, None)
    assert all(row.supersedes and row.supersedes.voided_at for row in done.ended)
    assert done.visit.pack == Pack.objects.get(serial="TP-0002")
    assert Pack.objects.get(serial="TP-0001").status == "in_service"
    assert list(breaches()) == []


def test_the_day_of_the_move_may_be_told() -> None:
    day = later(days=200).date()
    arrive(pack={"serial": "TP-0002", "moved": "yes_here", "moved_on": day})
    put = Installation.objects.get(vehicle__vin=VIN, removed_at=None, voided_at=None)
    assert (put.installed_at.date(), put.installed_km) == (day, None)


@pytest.mark.parametrize("days", [0, -1, 401])
def test_a_move_lies_between_the_last_one_and_the_visit(days: int) -> None:
    said = {"serial": "TP-0002", "moved": "yes_here", "moved_on": later(days=days).date()}
    assert refused(pack=said).keys() == {"/pack/moved_on"}


def test_a_misread_serial_leaves_everything_as_it_is_recorded() -> None:
    done = arrive(pack={"serial": "TP-0002", "moved": "misread"})
    assert done.visit.pack == Pack.objects.get(serial="TP-0001")
    assert Installation.objects.count() == 2
    arrive(vehicle={"vin": NEW_VIN}, pack={"serial": "TP-X", "moved": "misread"}, external_id="2")
    assert not Pack.objects.filter(serial="TP-X").exists()


def test_a_car_that_has_another_pack_is_asked_about() -> None:
    asked = refused(pack={"serial": "TP-0003"})
    assert asked.keys() == {"/pack/moved"}
    done = arrive(pack={"serial": "TP-0003", "moved": "yes_here"})
    assert in_car(VIN) == ["TP-0003"]
    assert [row.pack.serial for row in done.ended if row.pack] == ["TP-0001"]


def test_a_new_pack_in_a_car_that_has_another_needs_its_type_and_a_word() -> None:
    assert refused(pack={"serial": "TP-NEW"}).keys() == {"/pack/moved", "/pack/pack_type"}
    said = {"serial": "TP-NEW", "pack_type": "NM-28", "moved": "yes_here"}
    assert arrive(pack=said).visit.pack == Pack.objects.get(serial="TP-NEW")


def test_a_scrapped_pack_that_comes_in_is_asked_about() -> None:
    world.pack("TP-OLD", status="scrapped")
    assert "scrapped" in refused(vehicle={}, pack={"serial": "TP-OLD"})["/pack/moved"].lower()
    arrive(vehicle={}, pack={"serial": "TP-OLD", "moved": "yes_here"})
    assert Pack.objects.get(serial="TP-OLD").status == "in_shop"


def test_another_owner_is_asked_about_and_changed_only_when_said() -> None:
    said = {"name": "Zeb Westaway", "phone": "0660 9"}
    asked = refused(owner=said)
    assert asked.keys() == {"/owner/still"}
    assert "Rosalind Marsh" in asked["/owner/still"]
    arrive(owner={**said, "still": "still_theirs"})
    assert not Customer.objects.filter(name="Zeb Westaway").exists()
    back = stay(here_already=True)
    arrive(owner={**said, "still": "passed_on"}, external_id="page:2", visit=back)
    owners = Ownership.objects.filter(vehicle__vin=VIN).order_by("from_at")
    assert [(row.customer.name, row.until_at) for row in owners] == [
        ("Rosalind Marsh", NOW),
        ("Zeb Westaway", None),
    ]


def test_the_owner_s_new_number_is_kept() -> None:
    arrive(owner={"name": "rosalind marsh", "phone": "0660 2"})
    back = stay(here_already=True)
    arrive(owner={"email": "r@mail.example"}, external_id="page:2", visit=back)
    owner = Customer.objects.get(name="Rosalind Marsh")
    assert (owner.phone, owner.email) == ("0660 2", "r@mail.example")
    assert Customer.objects.count() == 2


def test_an_owner_of_a_name_that_is_recorded_is_asked_about() -> None:
    edda = Customer.objects.get(name="Edda Thornley")
    new = {"vin": NEW_VIN}
    assert refused(vehicle=new, owner={"name": "edda thornley"}).keys() == {"/owner/customer"}
    key = encode(Customer.PREFIX, edda.pk)
    arrive(vehicle=new, owner={"name": "Edda Thornley", "customer": key})
    assert Vehicle.objects.get(vin=NEW_VIN).customer == edda
    other = {"vin": "TST12345678900004"}
    said = {"name": "Edda Thornley", "customer": "somebody_new"}
    arrive(vehicle=other, owner=said, external_id="page:2")
    assert Customer.objects.filter(name="Edda Thornley").count() == 2


def test_another_plate_is_asked_about() -> None:
    said = {"vin": VIN, "plate": "W-9 NEW"}
    assert refused(vehicle=said).keys() == {"/vehicle/same_car"}
    arrive(vehicle={**said, "same_car": True})
    assert Vehicle.objects.get(vin=VIN).plate == "W-9 NEW"


def test_a_claim_is_opened_under_the_warranty_that_was_chosen() -> None:
    warranty = promise()
    done = arrive(claims=[warranty])
    claim = Claim.objects.get()
    assert (claim.visit, claim.decision) == (done.visit, "open")
    assert (claim.reason, claim.pack) == ("Warning light on the hill", done.visit.pack)
    assert list(breaches()) == []


def test_the_odometer_read_now_ends_a_warranty() -> None:
    warranty = promise()
    asked = refused(claims=[warranty], visit=stay(odometer_km=21_500))
    assert "500 km past its end" in asked["/claims"]
    assert "goodwill is the manager's" in asked["/claims"]
    assert arrive(visit=stay(odometer_km=21_000), claims=[warranty]).created


def test_nothing_is_claimed_under_what_ended_or_is_another_pack_s() -> None:
    ended, other = promise(months=1), promise("TP-0002")
    assert "has ended, on" in refused(claims=[ended])["/claims"]
    assert "not of this pack" in refused(claims=[other])["/claims"]


def test_sent_twice_it_is_stored_once() -> None:
    entry = {
        "vehicle": {"vin": NEW_VIN},
        "owner": {"name": "Zeb Westaway"},
        "pack": {"serial": "TP-0002", "moved": "yes_here"},
        "codes": [{"code": "P0A80"}],
        "consent": {"how": "telephone"},
        "claims": [promise("TP-0002")],
    }
    first = arrive(**entry)
    before = world.contents()
    again = arrive(at=NOW + timedelta(minutes=1), **entry)
    assert (again.visit, again.created) == (first.visit, False)
    assert world.contents() == before


@pytest.mark.django_db(transaction=True)
def test_one_sheet_sent_twice_at_once_is_stored_once() -> None:
    gate, created = threading.Barrier(2), []

    def send() -> None:
        gate.wait()
        created.append(arrive(pack={"serial": "TP-0002", "moved": "yes_here"}).created)
        connections.close_all()

    world.actor("desk", "pages")
    threads = [threading.Thread(target=send) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(created) == [False, True]
    assert Visit.objects.count() == 1
    assert list(breaches()) == []


@pytest.mark.postgres
@pytest.mark.django_db(transaction=True)
def test_who_holds_the_pack_never_waits_for_a_check_in_of_its_car() -> None:
    """Or each would wait for what the other holds."""
    world.actor("desk", "pages")
    created = []

    def send() -> None:
        try:
            created.append(arrive(visit=stay(here_already=True)).created)
        finally:
            connections.close_all()

    sheet = threading.Thread(target=send)
    with transaction.atomic():
        lock(Pack.objects.get(serial="TP-0001").pk)
        sheet.start()
        wait_for_a_lock()
        entry = {"vehicle": VIN, "pack": "TP-0001"}
        open_visit(by=world.actor(), at=later(days=399), entry=entry)
    sheet.join()
    assert created == [True]


def wait_for_a_lock() -> None:
    """Until another session waits for what this one holds, five seconds at most."""
    for _ in range(100):
        with connection.cursor() as cursor:
            cursor.execute("SELECT count(*) FROM pg_locks WHERE NOT granted")
            if cursor.fetchone()[0]:
                return
        time.sleep(0.05)
    pytest.fail("Nobody waits.")


@pytest.mark.parametrize(
    "changes",
    [
        {"visit": stay(complaint="Another")},
        {"vehicle": {"vin": OTHER_VIN}},
        {"pack": {"serial": "TP-0003"}},
        {"codes": [{"code": "P3000"}]},
    ],
)
def test_the_same_name_with_other_content_is_refused(changes: dict[str, Any]) -> None:
    arrive(codes=[{"code": "P0A80"}])
    before = world.contents()
    with pytest.raises((Conflict, Contradiction)) as caught:
        arrive(**changes)
    assert [fault.code for fault in caught.value.faults] == ["external_id_taken"]
    assert world.contents() == before


def test_an_odometer_below_the_last_is_stored_only_when_it_is_said_to_be_right() -> None:
    arrive()
    lower = stay(odometer_km=8000, here_already=True)
    asked = refused(visit=lower)
    assert "8000 km is less than the 9000 km read on 2025-04-05" in asked["/visit/odometer_sure"]
    done = arrive(visit={**lower, "odometer_sure": True}, external_id="page:2")
    assert done.visit.odometer_km == 8000


def test_what_is_here_already_is_asked_about_until_its_visit_is_closed() -> None:
    visit = arrive().visit
    asked = refused()
    assert asked.keys() == {"/visit/here_already"}
    assert "its visit of 2025-04-05 is not closed" in asked["/visit/here_already"]
    assert refused(vehicle={}, pack={"serial": "TP-0001"}).keys() == {"/visit/here_already"}
    closed = {"state": "closed"}
    change_visit(visit, by=world.actor(), at=NOW, version=visit.version, changes=closed)
    assert arrive(external_id="page:2").created
    back = stay(here_already=True)
    assert arrive(external_id="page:3", visit=back).created
    assert Visit.objects.count() == 3


def test_the_last_odometer_is_also_that_of_a_check() -> None:
    world.check(Pack.objects.get(serial="TP-0001"), taken_at=later(days=20), odometer_km=9500)
    assert "9500 km" in refused()["/visit/odometer_sure"]


@pytest.mark.parametrize(
    ("entry", "pointer"),
    [
        ({"vehicle": {}}, "/vehicle/vin"),
        ({"vehicle": {"vin": "SHORT"}}, "/vehicle/vin"),
        ({"visit": stay(opened_at=NOW + timedelta(minutes=6))}, "/visit/opened_at"),
        ({"visit": stay(promised_at=NOW - timedelta(days=1))}, "/visit/promised_at"),
        ({"visit": stay(promised_at=NOW + timedelta(days=999))}, "/visit/promised_at"),
        ({"pack": {"serial": "TP-9"}, "vehicle": {"vin": NEW_VIN}}, "/pack/pack_type"),
        (
            {"pack": {"serial": "TP-9", "pack_type": "NONE"}, "vehicle": {"vin": NEW_VIN}},
            "/pack/pack_type",
        ),
        ({"codes": [{}, {"code": "XYZ"}]}, "/codes/1/code"),
        ({"codes": [{"status": "pending"}]}, "/codes/0/code"),
        ({"owner": {"phone": "0660"}, "vehicle": {"vin": NEW_VIN}}, "/owner/name"),
        ({"owner": {"name": "A"}, "vehicle": {}, "pack": {"serial": "TP-0003"}}, "/owner/name"),
        ({"owner": {"name": "A", "customer": "cu_00000000"}, "vehicle": {"vin": NEW_VIN}}, "/owner/customer"),
    ],
)  # fmt: skip
def test_each_fault_points_at_its_field_and_nothing_is_stored(
    entry: dict[str, Any], pointer: str
) -> None:
    assert refused(**entry).keys() == {pointer}


def test_every_wrong_code_is_told_at_once() -> None:
    said = [{"code": "XYZ"}, {"code": "P0A80"}, {"code": "P0A8"}]
    assert refused(codes=said).keys() == {"/codes/0/code", "/codes/2/code"}


def test_a_visit_before_the_pack_was_built_points_at_its_time() -> None:
    world.pack("TP-YOUNG", built_on=later().date())
    said = {"serial": "TP-YOUNG"}
    early = stay(opened_at=later(days=-30))
    found = refused(vehicle={"vin": NEW_VIN}, pack=said, visit=early)
    assert found.keys() == {"/visit/opened_at"}
