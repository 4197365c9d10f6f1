"""From the keys people use to the rows they mean."""

from collections.abc import Mapping
from typing import Any, TypeVar

from django.db.models import Model, QuerySet

from packs.errors import Contradiction, NotFound
from packs.models import (
    Component,
    Customer,
    Equipment,
    Fact,
    ImportSource,
    Installation,
    Keyed,
    Lot,
    Module,
    Pack,
    PackType,
    Person,
    Site,
    Vehicle,
    Visit,
)
from packs.rules.identity import decode
from packs.rules.vehicles import normalise_vin

ModelT = TypeVar("ModelT", bound=Model)
FactT = TypeVar("FactT", bound=Fact)
KeyedT = TypeVar("KeyedT", bound=Keyed)

WHERE_TO_POST: Mapping[type[Model], tuple[str, str]] = {
    Pack: ("pack", "packs/"),
    PackType: ("pack type", "pack-types/"),
    Vehicle: ("vehicle", "vehicles/"),
    Person: ("person", "people/"),
    Equipment: ("equipment", "equipment/"),
    Module: ("module", "modules/"),
    Component: ("component", "components/"),
    Lot: ("lot", "lots/"),
    Site: ("site", "sites/"),
    ImportSource: ("import source", "import-sources/"),
}


def packs() -> QuerySet[Pack]:
    """Packs with their type; `serial__upper` finds one whatever the case."""
    return Pack.objects.select_related("pack_type")


def pack(serial: str, pointer: str = "/pack") -> Pack:
    """The pack of that serial; Contradiction at `pointer` where there is none."""
    return _named(packs().filter(serial__upper=serial.upper()), Pack, serial, pointer)


def pack_type(code: str, pointer: str = "/pack_type") -> PackType:
    return _named(PackType.objects.filter(code=code), PackType, code, pointer)


def vehicle(vin: str, pointer: str = "/vehicle") -> Vehicle:
    return _named(Vehicle.objects.filter(vin=normalise_vin(vin)), Vehicle, vin, pointer)


def person(code: str | None, pointer: str = "/done_by") -> Person | None:
    if code is None:
        return None
    return _named(Person.objects.filter(code=code), Person, code, pointer)


def equipment(code: str | None, pointer: str = "/equipment") -> Equipment | None:
    if code is None:
        return None
    return _named(Equipment.objects.filter(code=code), Equipment, code, pointer)


def module(tag: str | None, pointer: str) -> Module | None:
    if tag is None:
        return None
    return _named(Module.objects.filter(tag=tag), Module, tag, pointer)


def component(tag: str | None, pointer: str = "/component") -> Component | None:
    if tag is None:
        return None
    return _named(Component.objects.filter(tag=tag), Component, tag, pointer)


def lot(code: str | None, pointer: str = "/lot") -> Lot | None:
    if code is None:
        return None
    return _named(Lot.objects.filter(code=code), Lot, code, pointer)


def site(code: str | None, pointer: str = "/site") -> Site | None:
    if code is None:
        return None
    return _named(Site.objects.filter(code=code), Site, code, pointer)


def import_source(code: str, pointer: str = "/source") -> ImportSource:
    return _named(ImportSource.objects.filter(code=code), ImportSource, code, pointer)


def visit(text: str | None, pointer: str = "/visit") -> Visit | None:
    return _identified(Visit.objects.select_related("pack", "vehicle"), text, pointer, "visit")


def visit_of(pack: Pack, text: str | None, pointer: str = "/visit") -> Visit | None:
    """The visit on which something of that pack was told; Contradiction for one of another pack.

    A car that comes alone, or with one pack for another, may be about any pack that sat in it.
    """
    found = visit(text, pointer)
    if found is None or found.pack_id in {None, pack.pk}:
        return found
    sat = Installation.objects.filter(pack=pack, voided_at__isnull=True)
    if found.vehicle_id is not None and sat.filter(vehicle=found.vehicle_id).exists():
        return found
    raise Contradiction.at(
        pointer,
        "visit_of_another_pack",
        f"That visit is of another pack, and pack {pack.serial} is not recorded in its car; name "
        "a visit of this pack, record the installation first, or leave the visit out.",
    )


def customer(text: str | None, pointer: str = "/customer") -> Customer | None:
    return _identified(Customer.objects.all(), text, pointer, "customer")


def fact(model: type[FactT], text: str | None, pointer: str = "/supersedes") -> FactT | None:
    """The fact behind an opaque id said in a body."""
    rows: QuerySet[FactT] = model._default_manager.all()
    return _identified(rows, text, pointer, model.KIND.replace("_", " "))


def addressed(rows: QuerySet[ModelT], text: str) -> ModelT:
    """The row behind an opaque id in an address; NotFound where there is none."""
    number = decode(_prefix(rows), text)
    found = None if number is None else rows.filter(pk=number).first()
    if found is None:
        raise NotFound.at("", "not_found", f"There is nothing with the id '{text}' here.")
    return found


def keyed(rows: QuerySet[ModelT], **key: Any) -> ModelT:
    """The row with a key in an address; NotFound where there is none."""
    found = rows.filter(**key).first()
    if found is None:
        said = next(iter(key.values()))
        raise NotFound.at("", "not_found", f"There is nothing named '{said}' here.")
    return found


def _named(rows: QuerySet[ModelT], model: type[Model], key: str, pointer: str) -> ModelT:
    found = rows.first()
    if found is None:
        noun, address = WHERE_TO_POST[model]
        raise Contradiction.at(
            pointer,
            f"unknown_{noun.replace(' ', '_')}",
            f"No {noun} '{key}' is recorded; post it to {address} first, or correct the name.",
        )
    return found


def _identified(rows: QuerySet[ModelT], text: str | None, pointer: str, noun: str) -> ModelT | None:
    if text is None:
        return None
    number = decode(_prefix(rows), text)
    found = None if number is None else rows.filter(pk=number).first()
    if found is None:
        raise Contradiction.at(
            pointer,
            f"unknown_{noun.replace(' ', '_')}",
            f"No {noun} has the id '{text}'; give an id as it was answered.",
        )
    return found


def _prefix(rows: QuerySet[Any]) -> str:
    return str(rows.model.PREFIX)
