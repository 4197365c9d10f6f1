"""What the desk's box finds: packs, cars, modules and, for those who may know, their owners."""

from collections.abc import Iterable
from dataclasses import dataclass
from operator import attrgetter
from typing import Any, TypeVar

from django.db.models import F, Model, Prefetch, Q, QuerySet, Value
from django.db.models.expressions import Combinable
from django.db.models.functions import Replace, Upper

from packs.models import Customer, Module, Pack, Vehicle
from packs.rules.identity import encode
from packs.rules.people import name_key, phone_key
from packs.rules.vehicles import search_key

FOUND_MAX = 20
SHORTEST = 2  # characters; one alone finds everything
PHONE_SHORTEST = 3  # digits; fewer stand inside every number
LOOK_ALIKES = (("O", "0"), ("I", "1"))  # read one for the other off a plate or a label
LOOK_ALIKE = str.maketrans(dict(LOOK_ALIKES))
EXACT, PREFIX, INSIDE = range(3)

RowT = TypeVar("RowT", bound=Model)


@dataclass(frozen=True)
class Hit:
    """One thing found: its kind, the key people use, a line to read, and its page."""

    kind: str
    key: str
    title: str
    link: str
    rank: int


def find(text: str, *, with_customers: bool) -> list[Hit]:
    """At most FOUND_MAX hits for a part of a plate, VIN, serial, tag, name or number.

    Exact ones first, then those that begin so, then those that hold it inside. Names and
    numbers of customers are searched only with `with_customers`.
    """
    key = search_key(text).translate(LOOK_ALIKE)
    kinds = [_packs(key), _vehicles(key), _modules(key)] if len(key) >= SHORTEST else []
    if with_customers:
        kinds.append(_customers(text))
    # Of one rank the kinds take turns, so that twenty packs do not hide the one customer.
    placed = [pair for hits in kinds for pair in enumerate(sorted(hits, key=attrgetter("rank")))]
    placed.sort(key=lambda pair: (pair[1].rank, pair[0]))
    return [hit for _, hit in placed[:FOUND_MAX]]


def _packs(key: str) -> Iterable[Hit]:
    rows = Pack.objects.select_related("pack_type").annotate(own_key=_key_of("serial"))
    for pack, rank in _ranked(rows, "own_key", key):
        title = f"{pack.serial} · {pack.pack_type.name} · {pack.get_status_display().lower()}"
        yield Hit("pack", pack.serial, title, f"/packs/{pack.serial}/", rank)


def _vehicles(key: str) -> Iterable[Hit]:
    rows = Vehicle.objects.annotate(own_plate=_folded("plate_key"), own_vin=_folded("vin"))
    found = [*_ranked(rows, "own_plate", key), *_ranked(rows, "own_vin", key)]
    for car, rank in _best(found):
        said = (car.plate, car.description, str(car.model_year or ""))
        title = " · ".join(part for part in said if part) or car.vin
        yield Hit("vehicle", car.vin, title, f"/vehicles/{car.vin}/", rank)


def _modules(key: str) -> Iterable[Hit]:
    rows = Module.objects.annotate(own_key=_key_of("tag"))
    for module, rank in _ranked(rows, "own_key", key):
        title = f"{module.tag} · {module.get_status_display().lower()}"
        yield Hit("module", module.tag, title, f"/modules/{module.tag}/", rank)


def _customers(text: str) -> Iterable[Hit]:
    cars = Prefetch("vehicles", Vehicle.objects.order_by("vin"))
    rows = Customer.objects.prefetch_related(cars)
    name, number = name_key(text), phone_key(text)
    found: list[tuple[Customer, int]] = []
    if len(name) >= SHORTEST:
        found += _ranked(rows, "name_key", name)
    if len(number) >= PHONE_SHORTEST and not any(letter.isalpha() for letter in text):
        found += _ranked(rows, "phone_key", number)
    words = [name_key(word) for word in text.replace(",", " ").split()]
    if len(words) > 1:
        holding = rows.filter(*(Q(name_key__contains=word) for word in words))
        found += [(customer, INSIDE) for customer in holding.order_by("name_key")[:FOUND_MAX]]
    for customer, rank in _best(found):
        plates = [car.plate or car.vin for car in customer.vehicles.all()]
        key = encode(Customer.PREFIX, customer.pk)
        title = " · ".join([customer.name, *plates])
        yield Hit("customer", key, title, f"/customers/{key}/", rank)


def _best(found: list[tuple[RowT, int]]) -> list[tuple[RowT, int]]:
    """Each row once, with the best of its ranks."""
    return list(dict(sorted(found, key=lambda pair: -pair[1])).items())


def _key_of(column: str) -> Combinable:
    """The search key of a column, worked out in the database."""
    key: Combinable = F(column)
    for mark in (" ", "-", "."):
        key = Replace(key, Value(mark), Value(""))
    return _folded(Upper(key))


def _folded(key: str | Combinable) -> Combinable:
    """A key with its look-alikes as one."""
    folded: Combinable = F(key) if isinstance(key, str) else key
    for letter, digit in LOOK_ALIKES:
        folded = Replace(folded, Value(letter), Value(digit))
    return folded


def _ranked(rows: QuerySet[Any], column: str, key: str) -> list[tuple[Any, int]]:
    """Rows whose key is, begins with, or holds `key`: each once, with its rank."""
    found: dict[Any, int] = {}
    for rank, how in ((EXACT, "exact"), (PREFIX, "startswith"), (INSIDE, "contains")):
        if len(found) < FOUND_MAX:
            matching = rows.filter(**{f"{column}__{how}": key}).order_by(column, "pk")
            for row in matching[:FOUND_MAX]:
                found.setdefault(row, rank)
    return list(found.items())
