"""What must always hold is held by the database: each rule tried with SQL behind the ORM's back."""

import re
from collections.abc import Sequence
from importlib import import_module
from typing import Any

import pytest
from django.apps import apps
from django.db import IntegrityError, connection, transaction
from django.db.models import Model

from packs.models import (
    Call,
    Claim,
    Client,
    Consent,
    Core,
    CostEstimate,
    Customer,
    Edit,
    Equipment,
    EstimateLine,
    Failure,
    Finding,
    HistoryEntry,
    ImportFile,
    ImportSource,
    Inspection,
    Installation,
    Lot,
    Module,
    Ownership,
    Pack,
    PackType,
    PackTypeVersion,
    PaperText,
    PaperTextVersion,
    Person,
    Photo,
    PhotoContent,
    Placement,
    Site,
    Swap,
    SwapChange,
    TroubleCode,
    Vehicle,
    Visit,
    VoltageCheck,
    Warranty,
)
from tests import bench_rows, world
from tests.packs.unguarded import sql

pytestmark = pytest.mark.django_db

VINS = ("11111111111111111", "1M8GDM9AXKP042788")
FACTS: Sequence[type[Model]] = (
    VoltageCheck, Inspection, Swap, Failure, Warranty, Claim, TroubleCode, Installation,
    Photo, CostEstimate, Consent, Call, Core, *bench_rows.FACTS,
)  # fmt: skip
LINES: Sequence[type[Model]] = (
    HistoryEntry, PackTypeVersion, Finding, SwapChange, Edit, EstimateLine,
    PaperTextVersion, *bench_rows.LINES,
)  # fmt: skip
KEPT: Sequence[type[Model]] = (
    Site, Person, Equipment, PackType, Pack, Vehicle, Customer, Visit, Lot, Module, Client,
    Ownership, PaperText, ImportSource, ImportFile, *bench_rows.KEPT,
)  # fmt: skip


def refused(statement: str, *values: Any) -> None:
    """The database refuses the statement, and says so as a breach of integrity."""
    with pytest.raises(IntegrityError), transaction.atomic():
        sql(statement, values)


@pytest.fixture
def pack() -> Pack:
    return world.pack("TP-1")


@pytest.fixture
def rows(pack: Pack) -> None:
    """One row of every table, made without the product's rules."""
    at, posted = world.later(days=1), world.posted(b"-")
    fact = {**posted, "pack": pack, "revision": 2}
    world.check(pack)
    world.module("M-1")
    person = world.person()
    client = world.actor().client
    Site.objects.create(code="main", name="Main", time_zone="UTC", **posted)
    Equipment.objects.create(code="E-1", kind="meter", **posted)
    Lot.objects.create(code="L-1", **posted)
    owner = Customer.objects.create(name="N. N.", **posted)
    cars = [Vehicle.objects.create(vin=vin, customer=owner, **posted) for vin in VINS]
    Ownership.objects.create(vehicle=cars[0], customer=owner, from_at=at)
    visit = Visit.objects.create(vehicle=cars[0], pack=pack, opened_at=at, **posted)
    TroubleCode.objects.create(visit=visit, code="P0A80", **fact)
    inspection = Inspection.objects.create(happened_at=at, **fact)
    Finding.objects.create(inspection=inspection, part="fan", finding="fan_fault", grade=1)
    swap = Swap.objects.create(done_at=at, kind="module", starts_build=True, **fact)
    SwapChange.objects.create(swap=swap, position=1)
    Failure.objects.create(failed_on=at.date(), cause="leak", how_known="stranded", **fact)
    warranty = Warranty.objects.create(
        repair_kind="rebuild", starts_on=at.date(), months=12, **fact
    )
    Claim.objects.create(warranty=warranty, decision="open", **fact)
    Installation.objects.create(vehicle=cars[0], installed_at=at, **fact)
    photo = Photo.objects.create(happened_at=at, width=1, height=1, **fact)
    PhotoContent.objects.create(photo=photo, jpeg=b"-", small=b"-")
    estimate = CostEstimate.objects.create(visit=visit, happened_at=at, **fact)
    EstimateLine.objects.create(
        estimate=estimate, kind="part", what="module", quantity=1, unit_price=1
    )
    Consent.objects.create(
        visit=visit, about="intake", given=True, how="signed", happened_at=at, **fact
    )
    Call.objects.create(happened_at=at, reason="other", outcome="reached", **fact)
    Core.objects.create(deposit=1, due_on=at.date(), state="due", **fact)
    text = PaperText.objects.create(paper="intake", heading="Intake", **posted)
    PaperTextVersion.objects.create(text=text, number=1, recorded_at=at, heading="Intake")
    source = ImportSource.objects.create(code="S-1", columns={}, **posted)
    ImportFile.objects.create(
        source=source, name="a.csv", digest=b"-", content=b"-", handed_in_at=at, client=client
    )
    Edit.objects.create(
        kind="site", key="main", version=2, recorded_at=at, changes={}, client=client,
        recorded_by=person,
    )  # fmt: skip
    bench_rows.make()


def table(model: type[Model]) -> str:
    return str(model._meta.db_table)


@pytest.mark.usefixtures("rows")
@pytest.mark.parametrize("model", [*FACTS, *LINES, *KEPT])
def test_nothing_recorded_is_deleted(model: type[Model]) -> None:
    assert model._default_manager.exists()
    refused(f"DELETE FROM {table(model)}")
    assert model._default_manager.exists()


@pytest.mark.usefixtures("rows")
@pytest.mark.parametrize("model", FACTS)
def test_no_fact_is_changed(model: type[Model]) -> None:
    refused(f"UPDATE {table(model)} SET recorded_at = '2020-01-01 00:00:00+00:00'")
    refused(f"UPDATE {table(model)} SET revision = 9")


@pytest.mark.usefixtures("rows")
@pytest.mark.parametrize("model", LINES)
def test_no_line_is_changed(model: type[Model]) -> None:
    refused(f"UPDATE {table(model)} SET id = id + 100")


@pytest.mark.usefixtures("rows")
@pytest.mark.parametrize("model", FACTS)
def test_a_fact_is_voided_once_with_a_reason_and_never_back(model: type[Model]) -> None:
    at = "2024-05-01 00:00:00+00:00"
    void = f"UPDATE {table(model)} SET voided_at = %s, void_reason = %s"
    refused(void, at, "")
    sql(void, [at, "wrong pack"])
    refused(void, "2024-05-02 00:00:00+00:00", "wrong pack")
    refused(f"UPDATE {table(model)} SET voided_at = NULL")


def test_the_pack_goes_forward(pack: Pack) -> None:
    other = world.pack_type("OTHER")
    refused("UPDATE packs_pack SET revision = 0")
    refused("UPDATE packs_pack SET settled_at = '2001-01-01 00:00:00+00:00'")
    refused("UPDATE packs_pack SET serial = 'ANOTHER'")
    refused("UPDATE packs_pack SET pack_type_id = %s", other.pk)
    sql("UPDATE packs_pack SET revision = revision + 1")
    pack.refresh_from_db()
    assert pack.revision == 2


def test_a_serial_is_one_whatever_the_case(pack: Pack) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        Pack.objects.create(
            serial="tp-1", pack_type=pack.pack_type, settled_at=world.BEGUN, **world.posted(b"-")
        )


def seat(pack: Pack, module: Module | None, position: int, begin: float, end: float | None) -> None:
    """A placement as raw SQL."""
    until = None if end is None else world.later(days=end)
    sql(
        "INSERT INTO packs_placement (pack_id, module_id, position, orientation, fitted_at,"
        " removed_at) VALUES (%s, %s, %s, 'normal', %s, %s)",
        [
            pack.pk,
            None if module is None else module.pk,
            position,
            *(adapted(moment) for moment in (world.later(days=begin), until)),
        ],
    )


def adapted(moment: Any) -> Any:
    return connection.ops.adapt_datetimefield_value(moment)


def emptied(pack: Pack) -> None:
    Placement.objects.filter(pack=pack).delete()


@pytest.mark.parametrize(
    ("begin", "end", "holds"),
    [(20, 30, True), (5, 10, True), (5, 11, False), (12, 15, False), (15, None, False),
     (1, None, False), (20, None, True)],
)  # fmt: skip
def test_a_module_is_in_one_place_at_a_time(
    pack: Pack, begin: float, end: float | None, holds: bool
) -> None:
    other, module = world.pack("TP-2"), world.module("M-1")
    emptied(pack)
    emptied(other)
    seat(pack, module, 1, 10, 20)
    if holds:
        seat(other, module, 9, begin, end)
    else:
        with pytest.raises(IntegrityError), transaction.atomic():
            seat(other, module, 9, begin, end)
    assert Placement.objects.filter(module=module).count() == 1 + holds


def test_a_position_holds_one_module_at_a_time(pack: Pack) -> None:
    emptied(pack)
    seat(pack, world.module("M-1"), 1, 10, 20)
    with pytest.raises(IntegrityError), transaction.atomic():
        seat(pack, world.module("M-2"), 1, 19, 30)
    with pytest.raises(IntegrityError), transaction.atomic():
        seat(pack, None, 1, 19, 30)
    seat(pack, world.module("M-3"), 1, 20, 30)
    with pytest.raises(IntegrityError), transaction.atomic():
        sql(
            "UPDATE packs_placement SET fitted_at = %s WHERE module_id = %s",
            [adapted(world.later(days=15)), Module.objects.get(tag="M-3").pk],
        )


@pytest.mark.parametrize("position", [0, 29])
def test_a_pack_has_exactly_the_positions_of_its_type(pack: Pack, position: int) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        seat(pack, None, position, 1, 2)


def test_a_placement_ends_after_it_begins(pack: Pack) -> None:
    emptied(pack)
    with pytest.raises(IntegrityError), transaction.atomic():
        seat(pack, None, 1, 2, 2)


def installed(pack: Pack, vin: str, begin: float, end: float | None) -> Installation:
    car, _ = Vehicle.objects.get_or_create(vin=vin, defaults=world.posted(b"-"))
    return Installation.objects.create(
        pack=pack, revision=1, vehicle=car, installed_at=world.later(days=begin),
        removed_at=None if end is None else world.later(days=end), **world.posted(b"-"),
    )  # fmt: skip


def test_a_pack_is_in_one_car_at_a_time(pack: Pack) -> None:
    first = installed(pack, VINS[0], 10, 20)
    with pytest.raises(IntegrityError), transaction.atomic():
        installed(pack, VINS[1], 15, None)
    installed(pack, VINS[1], 20, None)
    with pytest.raises(IntegrityError), transaction.atomic():
        installed(pack, VINS[1], 5, 12)
    sql(
        "UPDATE packs_installation SET voided_at = %s, void_reason = 'x' WHERE id = %s",
        [adapted(world.later(days=30)), first.pk],
    )
    installed(pack, VINS[1], 5, 12)


def test_a_car_has_one_owner_at_a_time() -> None:
    owner = Customer.objects.create(name="N. N.", **world.posted(b"-"))
    car = Vehicle.objects.create(vin=VINS[0], **world.posted(b"-"))

    def owned(begin: float, end: float | None) -> None:
        until = None if end is None else world.later(days=end)
        with transaction.atomic():
            Ownership.objects.create(
                vehicle=car, customer=owner, from_at=world.later(days=begin), until_at=until
            )

    owned(10, 20)
    for begin, end in ((15, None), (5, 11), (12, 13)):
        with pytest.raises(IntegrityError):
            owned(begin, end)
    owned(20, None)
    with pytest.raises(IntegrityError):
        owned(30, None)


@pytest.mark.parametrize(("level", "count"), [("block", 13), ("module", 29), ("cell", 28)])
def test_a_check_has_as_many_voltages_as_the_type(pack: Pack, level: str, count: int) -> None:
    stored = world.check(pack)
    stored.pk, stored.revision, stored.level = None, 99, level
    stored.voltages = stored.voltages[:1].repeat(count)
    with pytest.raises(IntegrityError), transaction.atomic():
        stored.save(force_insert=True)


@pytest.mark.parametrize(
    ("condition", "current_a"), [("load", 0.0), ("load", -5.0), ("charge", 5.0), ("soak", 1.0)]
)
def test_a_current_goes_with_its_condition(pack: Pack, condition: str, current_a: float) -> None:
    stored = world.check(pack)
    stored.pk, stored.revision = None, 99
    stored.condition, stored.current_a = condition, current_a
    with pytest.raises(IntegrityError), transaction.atomic():
        stored.save(force_insert=True)


def test_a_revision_makes_one_record(pack: Pack) -> None:
    stored = world.check(pack)
    stored.pk = None
    with pytest.raises(IntegrityError), transaction.atomic():
        stored.save(force_insert=True)
    line = HistoryEntry.objects.get()
    line.pk = None
    with pytest.raises(IntegrityError), transaction.atomic():
        line.save(force_insert=True)


def test_an_external_id_is_stored_once_a_client_and_kind(pack: Pack) -> None:
    stored = world.check(pack, external_id="a")
    stored.pk, stored.revision = None, 99
    with pytest.raises(IntegrityError), transaction.atomic():
        stored.save(force_insert=True)
    stored.client = world.actor(name="another").client
    stored.save(force_insert=True)


@pytest.mark.parametrize(
    ("model", "change"),
    [
        (PackType, "module_count = 0"),
        (PackType, "block_count = 29"),
        (PackType, "reference_load_a = 0"),
        (PackType, "load_spread_limit_v = -1"),
        (Site, "touch_limit_v = 61"),
        (Site, "touch_limit_v = 0"),
        (Visit, "vehicle_id = NULL, pack_id = NULL"),
    ],
)
@pytest.mark.usefixtures("rows")
def test_what_cannot_be_is_refused(model: type[Model], change: str) -> None:
    refused(f"UPDATE {table(model)} SET {change}")


def test_a_finding_is_graded_to_three(pack: Pack) -> None:
    fact = {**world.posted(b"-"), "pack": pack, "revision": 2}
    inspection = Inspection.objects.create(happened_at=world.later(days=1), **fact)
    with pytest.raises(IntegrityError), transaction.atomic():
        Finding.objects.create(inspection=inspection, part="fan", finding="fan_fault", grade=4)


def test_a_warranty_ends_somehow(pack: Pack) -> None:
    fact = {**world.posted(b"-"), "pack": pack, "revision": 2}
    with pytest.raises(IntegrityError), transaction.atomic():
        Warranty.objects.create(repair_kind="rebuild", starts_on=world.BEGUN.date(), **fact)


def test_a_change_is_of_a_position_or_a_slot(pack: Pack) -> None:
    fact = {**world.posted(b"-"), "pack": pack, "revision": 2}
    done_at = world.later(days=1)
    swap = Swap.objects.create(done_at=done_at, kind="module", starts_build=True, **fact)
    with pytest.raises(IntegrityError), transaction.atomic():
        SwapChange.objects.create(swap=swap, position=1, slot="fuse")


@pytest.mark.postgres
def test_sql_reads_each_voltage_exactly(pack: Pack) -> None:
    volts = [7.9, 7.9123, None, *[8.0001] * 25]
    world.check(pack, volts)
    world.check(pack, taken_at=world.later(days=2))
    sql("UPDATE packs_voltagecheck SET voided_at = now(), void_reason = 'x' WHERE revision = 3")
    with connection.cursor() as cursor:
        cursor.execute("SELECT position, voltage_v::text FROM voltage_readings ORDER BY position")
        found = cursor.fetchall()
    assert [position for position, _ in found] == list(range(1, 29))
    assert [None if volt is None else float(volt) for _, volt in found] == volts


@pytest.mark.usefixtures("rows")
def test_a_photograph_is_not_changed() -> None:
    refused("UPDATE packs_photocontent SET jpeg = small")
    refused("DELETE FROM packs_photocontent")


@pytest.mark.usefixtures("rows")
@pytest.mark.parametrize(
    ("model", "changes"),
    [
        (Core, {"deposit": -1, "state": "due"}),
        (Core, {"deposit": 1, "state": "accepted"}),
        (Core, {"deposit": 1, "state": "due"}),
        (CostEstimate, {"tax_pct": 101}),
    ],
)
def test_the_desk_s_records_hold_together(model: type[Model], changes: dict[str, Any]) -> None:
    """A negative deposit, a core judged but not back, a pack owed twice, a tax beyond 100 %."""
    at = world.later(days=1)
    known: dict[type[Model], dict[str, Any]] = {
        Core: {"due_on": at.date()},
        CostEstimate: {"visit": Visit.objects.get(), "happened_at": at},
    }
    fact = {**world.posted(b"-"), "pack": Pack.objects.get(), "revision": 2}
    with pytest.raises(IntegrityError), transaction.atomic():
        model._default_manager.create(**known[model], **changes, **fact)


@pytest.mark.usefixtures("rows")
@pytest.mark.parametrize(
    "amounts", [{"quantity": 0, "unit_price": 1}, {"quantity": 1, "unit_price": -1}]
)
def test_a_line_of_an_estimate_has_an_amount(amounts: dict[str, int]) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        EstimateLine.objects.create(
            estimate=CostEstimate.objects.get(), kind="part", what="module", **amounts
        )


INSTALLED_BY = (
    "packs.migrations.0002_invariants",
    "packs.migrations.0004_desk_kept",
    "packs.migrations.0008_bench_kept",
)
TRIGGER = re.compile(r"CREATE TRIGGER (\w+)\s.*? ON (packs_\w+)", re.DOTALL)
THERE = {
    "sqlite": "SELECT name, tbl_name FROM sqlite_master WHERE type = 'trigger'",
    "postgresql": """SELECT t.tgname, c.relname FROM pg_trigger t
                     JOIN pg_class c ON c.oid = t.tgrelid
                     WHERE NOT t.tgisinternal AND t.tgenabled = 'O'""",
}


def test_no_trigger_is_lost_to_a_later_migration() -> None:
    """SQLite forgets the triggers of a table that is remade to change a column."""
    installed: set[tuple[str, str]] = set()
    for name in INSTALLED_BY:
        migration = import_module(name)
        on_sqlite = connection.vendor == "sqlite"
        statements = list(migration.sqlite(apps)) if on_sqlite else migration.POSTGRESQL
        found = [TRIGGER.search(one) for one in statements if "CREATE TRIGGER" in one]
        assert all(found)
        installed |= {(one[1], one[2]) for one in found if one}
    with connection.cursor() as cursor:
        cursor.execute(THERE[connection.vendor])
        there = {(name, table) for name, table in cursor.fetchall() if table.startswith("packs_")}
    assert len(installed) > 50
    assert installed - there == set()
