"""What the desk's box finds: packs, cars, modules and, for those who may know, their owners."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from operator import itemgetter
from typing import Any

from django.db import connection

from packs.models import Customer, Module, Pack
from packs.reads.candidates import EXACT, INSIDE, PREFIX, Candidate, Sought, candidates
from packs.rules.identity import encode
from packs.rules.people import name_key, phone_key
from packs.rules.vehicles import alike_key, as_scanned

__all__ = ["EXACT", "FOUND_MAX", "INSIDE", "PREFIX", "Hit", "find", "meant", "sought"]

FOUND_MAX = 20
SHORTEST = 2  # characters; one alone finds everything
PHONE_SHORTEST = 3  # digits; fewer stand inside every number

SHOWN_FOR_THEMSELVES = ("pack", "vehicle", "module")


@dataclass(frozen=True)
class Hit:
    """One thing found: its kind, the key people use, a line to read, and its page."""

    kind: str
    key: str
    title: str
    link: str
    rank: int


Told = tuple[str, str, str]  # key, title, link
Rows = Iterable[tuple[Any, ...]]
Tell = Callable[[Rows], Iterator[tuple[int, Told]]]


def find(text: str, *, with_customers: bool, most: int = FOUND_MAX) -> list[Hit]:
    """At most `most` hits for a part of a plate, VIN, serial, tag, name or number.

    Exact ones first, then those that begin so, then those that hold it inside. Names and
    numbers of customers are searched only with `with_customers`.
    """
    chosen = _in_turn(candidates(sought(text, with_customers=with_customers), most))[:most]
    told: dict[tuple[str, int], Told] = {}
    for kind in TELL:
        numbers = [one.number for one in chosen if one.kind == kind]
        if numbers:
            told |= {(kind, number): line for number, line in _told(kind, numbers)}
    return [Hit(one.kind, *told[one.kind, one.number], one.rank) for one in chosen]


def meant(hits: Sequence[Hit]) -> Hit | None:
    """The one hit to show at once: the only one, or the only one whose own key is the text."""
    if len(hits) == 1:
        return hits[0]
    exact = [hit for hit in hits if hit.rank == EXACT]
    return exact[0] if len(exact) == 1 and exact[0].kind in SHOWN_FOR_THEMSELVES else None


def sought(text: str, *, with_customers: bool) -> list[Sought]:
    """Where what the text may mean is looked for, and as what."""
    key = alike_key(as_scanned(text))
    found = []
    if len(key) >= SHORTEST:
        found = [
            Sought("pack", "packs_pack", "serial_alike", (key,)),
            Sought("vehicle", "packs_vehicle", "plate_alike", (key,)),
            Sought("vehicle", "packs_vehicle", "vin", (key,)),
            Sought("module", "packs_module", "tag_alike", (key,)),
        ]
    return found + (_of_customers(text) if with_customers else [])


def _of_customers(text: str) -> list[Sought]:
    name, number = name_key(text), phone_key(text)
    words = tuple(name_key(word) for word in text.replace(",", " ").split())
    found = []
    if len(name) >= SHORTEST:
        found.append(Sought("customer", "packs_customer", "name_key", (name,)))
    if len(number) >= PHONE_SHORTEST and not any(letter.isalpha() for letter in text):
        found.append(Sought("customer", "packs_customer", "phone_key", (number,)))
    if len(words) > 1:
        found.append(Sought("customer", "packs_customer", "name_key", words))
    return found


def _in_turn(found: Sequence[Candidate]) -> list[Candidate]:
    """Of one rank the kinds take turns, so that twenty packs do not hide the one customer."""
    placed = []
    for kind in TELL:
        placed += list(enumerate(one for one in found if one.kind == kind))
    placed.sort(key=lambda pair: (pair[1].rank, pair[0]))
    return [one for _, one in placed]


def _told(kind: str, numbers: Sequence[int]) -> list[tuple[int, Told]]:
    """What is said of the rows of a kind with these numbers."""
    said, tell = TELL[kind]
    with connection.cursor() as cursor:
        cursor.execute(said.format(numbers=", ".join(["%s"] * len(numbers))), numbers)
        return list(tell(cursor.fetchall()))


def _packs(rows: Rows) -> Iterator[tuple[int, Told]]:
    for number, serial, kind, status, plate, vin in rows:
        said = [serial, kind, Pack.Status(status).label.lower()]
        said += [f"in {plate or vin}"] if vin else []
        yield number, (serial, " · ".join(said), f"/packs/{serial}/")


def _vehicles(rows: Rows) -> Iterator[tuple[int, Told]]:
    for number, vin, *said, year in rows:
        title = " · ".join(part for part in (*said, str(year or "")) if part) or vin
        yield number, (vin, title, f"/vehicles/{vin}/")


def _modules(rows: Rows) -> Iterator[tuple[int, Told]]:
    for number, tag, status, serial, position in rows:
        said = [tag, Module.Status(status).label.lower()]
        said += [f"in {serial} at position {position}"] if serial else []
        yield number, (tag, " · ".join(said), f"/modules/{tag}/")


def _customers(rows: Rows) -> Iterator[tuple[int, Told]]:
    """A row for each car of an owner, or one without a car."""
    for (number, name), cars in groupby(rows, itemgetter(0, 1)):
        key = encode(Customer.PREFIX, number)
        title = " · ".join([name, *(plate or vin for _, _, plate, vin in cars if vin)])
        yield number, (key, title, f"/customers/{key}/")


# Said in SQL, like the candidates: composing each by the ORM would take longer than answering it.
TELL: Mapping[str, tuple[str, Tell]] = {
    "pack": (
        "SELECT p.id, p.serial, t.name, p.status, v.plate, v.vin"
        " FROM packs_pack p JOIN packs_packtype t ON t.id = p.pack_type_id"
        " LEFT JOIN packs_installation i ON i.pack_id = p.id"
        " AND i.voided_at IS NULL AND i.removed_at IS NULL"
        " LEFT JOIN packs_vehicle v ON v.id = i.vehicle_id WHERE p.id IN ({numbers})",
        _packs,
    ),
    "vehicle": (
        "SELECT id, vin, plate, description, model_year FROM packs_vehicle WHERE id IN ({numbers})",
        _vehicles,
    ),
    "module": (
        "SELECT m.id, m.tag, m.status, p.serial, o.position FROM packs_module m"
        " LEFT JOIN packs_placement o ON o.module_id = m.id AND o.removed_at IS NULL"
        " LEFT JOIN packs_pack p ON p.id = o.pack_id WHERE m.id IN ({numbers})",
        _modules,
    ),
    "customer": (
        "SELECT c.id, c.name, v.plate, v.vin FROM packs_customer c"
        " LEFT JOIN packs_vehicle v ON v.customer_id = c.id WHERE c.id IN ({numbers})"
        " ORDER BY c.id, v.vin",
        _customers,
    ),
}
