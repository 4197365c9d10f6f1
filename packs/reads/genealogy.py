"""Where modules went and where they came from: from a module, a lot or a donor pack to every pack
that carries or carried a part of it, and back.

Each answer takes a fixed number of queries, however many packs there are.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import F, Q, QuerySet

from packs.models import Installation, Lot, Module, Pack, Placement
from packs.reads import yields
from packs.reads.yields import Yield


@dataclass(frozen=True)
class Stay:
    """A module at a position, from when until when; None: from the beginning, or still there."""

    module: str
    position: int
    since: datetime | None
    until: datetime | None


@dataclass(frozen=True)
class Car:
    """The car that a pack sits in now, and whose it is: personal data, for who may see it."""

    vin: str
    plate: str
    owner_id: int | None
    owner_name: str
    owner_phone: str


@dataclass(frozen=True)
class Carrier:
    """A pack that carries or carried modules of an origin."""

    pack_id: int
    serial: str
    car: Car | None
    stays: tuple[Stay, ...]

    @property
    def carries(self) -> bool:
        return any(stay.until is None for stay in self.stays)


@dataclass(frozen=True)
class Source:
    """A stay in a pack with where its module came from, and what came of that origin."""

    row: Placement
    lot: Yield | None
    donor: Yield | None


@dataclass(frozen=True)
class Origin:
    """Modules that came from one place: as a filter of modules, and of where they sat."""

    modules: Q
    stays: Q


def of_lot(lot: Lot) -> Origin:
    return Origin(Q(lot=lot), Q(module__lot=lot))


def of_donor(pack: Pack) -> Origin:
    return Origin(Q(donor_pack=pack), Q(module__donor_pack=pack))


def of_module(module: Module) -> Origin:
    return Origin(Q(pk=module.pk), Q(module=module))


def packs(origin: Origin, *, present: bool | None = None) -> QuerySet[Pack]:
    """The packs that carry or carried a module of it; only those that do now, or no longer do."""
    sat = Placement.objects.filter(origin.stays)
    now = sat.filter(removed_at__isnull=True).values("pack")
    if present is True:
        return Pack.objects.filter(pk__in=now)
    found = Pack.objects.filter(pk__in=sat.values("pack"))
    return found if present is None else found.exclude(pk__in=now)


def carriers(origin: Origin, among: Collection[int] | None = None) -> list[Carrier]:
    """Those packs with what sat where in them, by serial, or only some by number; two queries."""
    sat = Placement.objects.filter(origin.stays)
    if among is not None:
        sat = sat.filter(pack__in=among)
    cars = _cars(sat.order_by().values("pack") if among is None else among)
    serials: dict[int, str] = {}
    stays: dict[int, list[Stay]] = defaultdict(list)
    ordered = sat.order_by("pack__serial", "position", "fitted_at", "pk")
    told = ordered.values_list(
        "pack", "pack__serial", "module__tag", "position", "fitted_at", "removed_at"
    )
    for pack_id, serial, tag, position, since, until in told:
        serials[pack_id] = serial
        stays[pack_id].append(Stay(tag or "", position, since, until))
    return [
        Carrier(pack_id, serial, cars.get(pack_id), tuple(stays[pack_id]))
        for pack_id, serial in serials.items()
    ]


def _cars(packs: Iterable[Any]) -> Mapping[int, Car]:
    """By pack, the car that it sits in now; `packs` are numbers, or a query of them."""
    rows = Installation.objects.filter(
        pack__in=packs, voided_at__isnull=True, removed_at__isnull=True
    )
    told = rows.order_by("installed_at", "pk").values_list(
        "pack", "vehicle__vin", "vehicle__plate", "vehicle__customer",
        "vehicle__customer__name", "vehicle__customer__phone",
    )  # fmt: skip
    return {
        pack_id or 0: Car(vin, plate, owner_id, name or "", phone or "")
        for pack_id, vin, plate, owner_id, name, phone in told
    }


def stays_in(pack: Pack) -> QuerySet[Placement]:
    """Every named module that sits or sat in a pack, with where it came from."""
    rows = Placement.objects.filter(pack=pack, module__isnull=False)
    return rows.select_related("module__lot", "module__donor_pack").order_by(
        "position", F("fitted_at").desc(nulls_last=True), "-pk"
    )


def sources(rows: Sequence[Placement]) -> list[Source]:
    """Those stays with what came of each lot and donor pack; six queries at most."""
    modules = [row.module for row in rows if row.module is not None]
    of_lots = yields.of_lots({one.lot for one in modules if one.lot is not None})
    donors = {one.donor_pack_id for one in modules if one.donor_pack_id is not None}
    of_donors = yields.of_donors(donors)
    return [
        Source(
            row=row,
            lot=of_lots.get(row.module.lot_id or 0) if row.module else None,
            donor=of_donors.get(row.module.donor_pack_id or 0) if row.module else None,
        )
        for row in rows
    ]
