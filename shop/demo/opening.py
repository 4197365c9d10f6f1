"""What the made-up shop has before the first car comes: itself, its people, tools, types, lots."""

from collections.abc import Iterator
from datetime import timedelta
from decimal import Decimal
from typing import Any

from shop.demo.books import Books, Row
from shop.demo.calendar import Calendar
from shop.demo.events import Event
from shop.demo.price_list import price_list

OPENED_D = -2225.0  # the day that the shop began to keep its books
YEAR = timedelta(days=365)


def opening(books: Books, calendar: Calendar) -> Iterator[Event]:
    """Everything in the order in which it can be told."""
    start = calendar.at(OPENED_D)
    yield Event(start, "site", "site", books.read("site")["site"])
    for row in books.rows("people"):
        yield Event(start, "person", row["code"], _person(row, calendar))
    for row in books.rows("pack_types"):
        yield Event(start, "pack_type", row["code"], row)
    yield from price_list(books, start)
    for row in books.rows("equipment"):
        yield from _equipment(row, calendar)
    for row in books.lots:
        yield _lot(row, calendar)
    for row in books.donor_packs:
        yield _donor(row, calendar)


def _person(row: Row, calendar: Calendar) -> dict[str, Any]:
    held = [
        {"level": one["level"], "expires_on": calendar.date(one["expires_in_days"])}
        for one in row["qualifications"]
    ]
    return {**row, "qualifications": held}


def _equipment(row: Row, calendar: Calendar) -> Iterator[Event]:
    """A tool as it was bought, and its newest test."""
    bought = calendar.date(OPENED_D)
    entry = {name: row[name] for name in ("code", "kind", "serial", "rating")}
    dates = {"checked_on": bought, "due_on": bought + YEAR}
    yield Event(calendar.at(OPENED_D), "equipment", row["code"], {**entry, **dates})
    tested = {
        "checked_on": calendar.date(-row["checked_days_before"]),
        "due_on": calendar.date(row["due_in_days"]),
    }
    if "issued_days_before" in row:
        tested["issued_on"] = calendar.date(-row["issued_days_before"])
    at = calendar.at(-row.get("issued_days_before", row["checked_days_before"]), 60)
    yield Event(at, "equipment_test", row["code"], tested, version=1)


def _lot(row: Row, calendar: Calendar) -> Event:
    day = -row["received_days_before"]
    told = ("code", "supplier", "count", "origin_note", "climate")
    entry = {name: row[name] for name in told}
    dated = {"received_on": calendar.date(day), "unit_cost": Decimal(row["unit_cost"])}
    return Event(calendar.at(day, 90), "lot", row["code"], {**entry, **dated})


def _donor(row: Row, calendar: Calendar) -> Event:
    entry = {
        "serial": row["serial"],
        "pack_type": row["pack_type"],
        "status": "dismantled",
        "built_on": calendar.date(-row["built_days_before"]),
    }
    at = calendar.at(-row["bought_days_before"], 120)
    return Event(at, "pack", row["serial"], entry, row["serial"], "DS")
