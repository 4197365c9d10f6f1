"""The keys that search compares: kept by every write, filled for what was there, met by index."""

from importlib import import_module
from types import SimpleNamespace
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from packs.models import Customer, Module, Pack, Vehicle
from packs.reads import searching
from packs.reads.candidates import Sought, statement
from packs.rules.identity import encode
from packs.writes import customers, installations, modules, swaps, vehicles
from packs.writes import packs as pack_writes
from tests import world
from tests.packs.unguarded import sql

pytestmark = pytest.mark.django_db
VIN = "1M8GDM9AXKP042788"
ON_SQLITE = connection.vendor == "sqlite"
EVERYWHERE = searching.sought("0199", with_customers=True)
WORDS = Sought("customer", "packs_customer", "name_key", ("MARSH", "ROSA"))


def car(**entry: Any) -> Vehicle:
    told = {"vin": VIN, **entry}
    return vehicles.create_vehicle(by=world.actor(), at=world.later(), entry=told).row


def owner(name: str, phone: str) -> Customer:
    entry = {"name": name, "phone": phone, "email": None}
    return customers.create_customer(by=world.actor(), at=world.later(), entry=entry).row


def test_every_write_keeps_the_key_beside_what_it_stands_for() -> None:
    by, at = world.actor(), world.later()
    assert world.pack("tp-io.1").serial_alike == "TP101"
    told = {"tag": "mod o-7", "form": "prismatic", "cells": 6}
    assert modules.create_module(by=by, at=at, entry=told).row.tag_alike == "M0D07"
    row = car(plate="w-io 1")
    assert (row.plate_key, row.plate_alike) == ("WIO1", "W101")
    changed = vehicles.change_vehicle(row, by=by, at=at, version=1, changes={"plate": "b-o 2"})
    assert (changed.plate_key, changed.plate_alike) == ("BO2", "B02")
    person = owner("Oona Ito", "01 23")
    changes = {"name": "José O.", "phone": "0660 1"}
    known = customers.change_customer(person, by=by, at=at, version=1, changes=changes)
    assert (known.name_key, known.phone_key) == ("JOSEO", "6601")


def test_the_same_serial_in_another_case_is_the_same_pack() -> None:
    kind = world.pack_type().code
    for serial in ("tp-o1", "TP-O1"):
        entry = {"serial": serial, "pack_type": kind}
        pack_writes.create_pack(by=world.actor(), at=world.later(), entry=entry)
    assert list(Pack.objects.values_list("serial", "serial_alike")) == [("tp-o1", "TP01")]


def test_what_was_recorded_before_there_were_keys_gets_its_own() -> None:
    pack, row = world.pack("tp-io-1"), car(plate="w-io 1")
    world.module("m-o1")
    sql("UPDATE packs_pack SET serial_alike = ''")
    sql("UPDATE packs_vehicle SET plate_alike = ''")
    sql("UPDATE packs_module SET tag_alike = ''")
    before = pack.revision, pack.settled_at, row.version
    migration = import_module("packs.migrations.0005_search_keys")
    models = SimpleNamespace(
        get_model=lambda _, name: {"pack": Pack, "module": Module, "vehicle": Vehicle}[name]
    )
    migration.fill(models, SimpleNamespace(connection=connection))
    pack.refresh_from_db()
    row.refresh_from_db()
    assert (pack.serial_alike, row.plate_alike) == ("TP101", "W101")
    assert Module.objects.get().tag_alike == "M01"
    assert (pack.revision, pack.settled_at, row.version) == before


def plan(sought: Sought, *, inside: bool) -> str:
    """How the database would look, as it says itself; PostgreSQL as if the tables were large."""
    asked = statement([sought], searching.FOUND_MAX, inside=inside)
    assert asked is not None
    text, values = asked
    with connection.cursor() as cursor:
        if not ON_SQLITE:
            for way in ("seqscan", "indexscan", "indexonlyscan")[: 3 if inside else 1]:
                cursor.execute(f"SET LOCAL enable_{way} = off")
        cursor.execute(f"EXPLAIN {'QUERY PLAN ' if ON_SQLITE else ''}{text}", values)
        return "\n".join(str(row[-1]) for row in cursor.fetchall())


@pytest.mark.parametrize("sought", EVERYWHERE, ids=lambda one: one.column)
def test_what_is_or_begins_so_is_met_by_index(sought: Sought) -> None:
    said = plan(sought, inside=False)
    if ON_SQLITE:
        assert "SEARCH" in said
        assert "INDEX" in said
        assert "TEMP B-TREE" not in said
    else:
        assert "Index Cond" in said
        assert "Sort" not in said
    assert "SCAN packs_" not in said
    assert "Seq Scan" not in said


@pytest.mark.parametrize("sought", [*EVERYWHERE, WORDS], ids=lambda one: one.column)
def test_what_stands_inside_is_met_by_index(sought: Sought) -> None:
    said = plan(sought, inside=True)
    if ON_SQLITE:
        assert "USING COVERING INDEX" in said
    else:
        assert f"Bitmap Index Scan on {sought.kind}_{sought.column}_inside" in said


@pytest.mark.postgres
@pytest.mark.parametrize("sought", EVERYWHERE, ids=lambda one: one.column)
def test_keys_are_in_order_of_code_points_whatever_the_language(sought: Sought) -> None:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT collation_name FROM information_schema.columns"
            " WHERE table_name = %s AND column_name = %s",
            [sought.table, sought.column],
        )
        assert cursor.fetchone() == ("C",)


def test_many_hits_take_no_more_queries_than_one_of_each_kind() -> None:
    def queries() -> int:
        with CaptureQueriesContext(
            connection,
        ) as seen:
            hits = searching.find("777", with_customers=True)
        assert {hit.kind for hit in hits} == {"pack", "vehicle", "module", "customer"}
        return len(seen)

    def stock(number: int) -> None:
        by, at = world.actor(), world.later(days=1)
        world.pack(f"777-{number:02}")
        world.module(f"M777-{number:02}")
        person = owner(f"A{number}", f"+43 777{number:02}")
        customer = encode(Customer.PREFIX, person.pk)
        vin = f"A{number:06}7777777777"
        car(vin=vin, plate=f"W-777 {number:02}", customer=customer)
        entry = {"pack": f"777-{number:02}", "vehicle": vin, "installed_at": at}
        installations.record_installation(by=by, at=at, entry=entry)

    stock(1)
    few = queries()
    for number in range(2, 12):
        stock(number)
    assert queries() == few == 6


def test_a_title_says_where_the_thing_is_now() -> None:
    by, at = world.actor(), world.later(days=1)
    world.pack("TP-1")
    world.module("M-9")
    car(plate="W-12 X")
    entry: dict[str, Any] = {"pack": "TP-1", "vehicle": VIN, "installed_at": at}
    put_in = installations.record_installation(by=by, at=at, entry=entry).row
    change = {"position": 3, "orientation": "normal", "fitted": "M-9"}
    swap = {"pack": "TP-1", "done_at": at, "kind": "module", "changes": [change]}
    swaps.record_swap(by=by, at=at, entry=swap)
    assert title("tp1").endswith(" · in service · in W-12 X")
    assert title("m9") == "M-9 · fitted · in TP-1 at position 3"
    out = {**entry, "removed_at": world.later(days=2), "supersedes": encode("in", put_in.pk)}
    installations.record_installation(by=by, at=world.later(days=3), entry=out)
    assert title("tp1").endswith(" · in service")


def title(text: str) -> str:
    return searching.find(text, with_customers=False)[0].title


@pytest.mark.parametrize("text", [f"*{VIN}*", f"I{VIN}", f"*i{VIN.lower()}*", f" {VIN} "])
def test_a_scanned_vin_is_found_with_what_a_scanner_reads_along(text: str) -> None:
    car()
    (hit,) = searching.find(text, with_customers=True)
    assert (hit.key, hit.rank) == (VIN, searching.EXACT)


@pytest.mark.parametrize("mark", ["%", "_", "\\", "*", "?", "[T]"])
def test_marks_of_patterns_are_no_patterns(mark: str) -> None:
    world.pack("TP-1234")
    owner("Rosalind Marsh", "")
    for text in (f"P{mark}2", f"ros{mark}l", f"ros{mark} marsh", mark * 2):
        assert searching.find(text, with_customers=True) == []
