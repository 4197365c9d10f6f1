"""What is on the shelves: modules and parts that are loose, how well they are known, and what is
short."""

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from django.db.models import Max, Q, QuerySet

from packs.models import Component, Module, PackType
from packs.reads import kinds_of_modules, stock
from packs.reads.stock import NOTHING, Figures

TESTS_OLD_AFTER = timedelta(days=90)
"""A test older than that says little of a module on a shelf. Common practice, no source."""

GONE = (Module.Status.FITTED, Module.Status.SCRAPPED)  # not on a shelf
FRESH, OLD, NONE = TESTS = ("fresh", "old", "none")
READ_AT_ONCE = 500  # modules whose figures are read by one query
MODULE = "module"  # as a type names it among what should be in stock


@dataclass(frozen=True)
class Asked:
    """Which modules; an empty text asks for any. No status: all that are on the shelves."""

    status: str = ""
    form: str = ""
    cells: int | None = None
    generation: str = ""
    tests: str = ""
    lot: str = ""
    donor: str = ""
    shelf: str = ""


@dataclass(frozen=True)
class Line:
    """A module with its newest figures and the age of the oldest of them."""

    module: Module
    figures: Figures
    tests: str


@dataclass(frozen=True)
class Group:
    """Modules that are alike, by form, cells and generation, and the types that take such."""

    form: str
    cells: int
    generation: str
    types: tuple[str, ...]
    statuses: Mapping[str, int]
    tests: Mapping[str, int]

    @property
    def count(self) -> int:
        return sum(self.statuses.values())


@dataclass(frozen=True)
class Short:
    """Something of which fewer are free than a type asks for."""

    pack_type: str
    what: str
    minimum: int
    free: int

    @property
    def missing(self) -> int:
        return self.minimum - self.free


def rows(asked: Asked, *, at: datetime) -> QuerySet[Any]:
    """The modules that are asked for, by tag; `tested_at` is when the newest test ended."""
    found = _tested(Module.objects.select_related("lot", "donor_pack", "reserved_for"))
    found = found.filter(status=asked.status) if asked.status else found.exclude(status__in=GONE)
    told = {
        "form": asked.form,
        "cells": asked.cells,
        "generation": asked.generation,
        "lot__code": asked.lot,
        "donor_pack__serial__upper": asked.donor.upper(),
        "shelf": asked.shelf,
    }
    found = found.filter(**{name: value for name, value in told.items() if value})
    if asked.tests:
        found = found.filter(_of_tests(asked.tests, at))
    return found.order_by("tag")


def _tested(found: QuerySet[Module]) -> QuerySet[Any]:
    standing = Q(tests__voided_at__isnull=True)
    return found.annotate(tested_at=Max("tests__ended_at", filter=standing))


def _of_tests(word: str, at: datetime) -> Q:
    if word == NONE:
        return Q(tested_at__isnull=True)
    way = "gte" if word == FRESH else "lt"
    return Q(**{f"tested_at__{way}": at - TESTS_OLD_AFTER})


def word_of(tested_at: datetime | None, at: datetime) -> str:
    """How well a module is known: fresh, old or none."""
    if tested_at is None:
        return NONE
    return FRESH if tested_at >= at - TESTS_OLD_AFTER else OLD


def lines(modules: Sequence[Module], *, at: datetime) -> Iterator[Line]:
    """Those modules with their figures, READ_AT_ONCE at a time."""
    for begin in range(0, len(modules), READ_AT_ONCE):
        some = modules[begin : begin + READ_AT_ONCE]
        found = stock.figures([module.pk for module in some], at=at)
        for module in some:
            tested_at: datetime | None = getattr(module, "tested_at", None)
            yield Line(module, found.get(module.pk, NOTHING), word_of(tested_at, at))


def groups(*, at: datetime) -> list[Group]:
    """What is on the shelves, alike beside alike; by as many queries however many they are."""
    shelved = Module.objects.exclude(status__in=GONE)
    told = _tested(shelved).order_by()
    kinds, fits = _kinds(shelved), _Fits(PackType.objects.order_by("code"))
    statuses: dict[tuple[str, int, str], Counter[str]] = defaultdict(Counter)
    tests: dict[tuple[str, int, str], Counter[str]] = defaultdict(Counter)
    types: dict[tuple[str, int, str], set[str]] = defaultdict(set)
    for pk, form, cells, generation, status, tested_at in told.values_list(
        "pk", "form", "cells", "generation", "status", "tested_at"
    ):
        statuses[form, cells, generation][status] += 1
        tests[form, cells, generation][word_of(tested_at, at)] += 1
        types[form, cells, generation] |= fits.types(form, cells, kinds.get(pk, NO_CHEMISTRY))
    return [
        Group(*key, tuple(sorted(types[key])), statuses[key], tests[key])
        for key in sorted(statuses)
    ]


NO_CHEMISTRY: frozenset[str] = frozenset()  # nothing is recorded that tells it


def _kinds(modules: QuerySet[Module]) -> Mapping[int, frozenset[str]]:
    """By module, the chemistries that what is recorded of it tells."""
    found = kinds_of_modules.traces(modules)
    return {key: frozenset(one.chemistry for one in told) for key, told in found.items()}


class _Fits:
    """Which types take a module, by cells, form and chemistry as far as they are known."""

    def __init__(self, types: QuerySet[PackType]) -> None:
        forms = kinds_of_modules.forms_by_type()
        self._types = [
            (row.code, row.cells_per_module, forms.get(row.pk), row.chemistry) for row in types
        ]
        self._found: dict[tuple[str, int, frozenset[str]], frozenset[str]] = {}

    def types(self, form: str, cells: int, chemistries: frozenset[str]) -> frozenset[str]:
        key = form, cells, chemistries
        if key not in self._found:
            self._found[key] = frozenset(
                code
                for code, asked_cells, asked_form, chemistry in self._types
                if asked_cells == cells
                and asked_form in {None, form}
                and chemistries <= {chemistry}
            )
        return self._found[key]


def parts() -> list[tuple[str, Mapping[str, int]]]:
    """Other parts on the shelves, by kind."""
    counted: dict[str, Counter[str]] = defaultdict(Counter)
    loose = Component.objects.exclude(status__in=("fitted", "scrapped")).order_by("kind")
    for kind, status in loose.values_list("kind", "status"):
        counted[kind][status] += 1
    return list(counted.items())


def shortages() -> list[Short]:
    """What is below what the types ask for, the emptiest first.

    A module counts for every type that takes it, a part for every type; the number of queries does
    not hang on how many they are.
    """
    free = Module.objects.filter(status=Module.Status.STOCK).order_by()
    kinds, fits = _kinds(free), _Fits(PackType.objects.order_by("code"))
    modules: Counter[str] = Counter()
    for pk, form, cells in free.values_list("pk", "form", "cells"):
        modules.update(fits.types(form, cells, kinds.get(pk, NO_CHEMISTRY)))
    loose = Component.objects.filter(status=Component.Status.STOCK).order_by()
    components = Counter(loose.values_list("kind", flat=True))
    found = [
        Short(row.code, what, minimum, _free(what, row, modules, components))
        for row in PackType.objects.order_by("code")
        for what, minimum in row.layout.stock_minimum.items()
    ]
    short = [replace(one, what=one.what.replace("_", " ")) for one in found if one.missing > 0]
    return sorted(short, key=lambda one: (one.free / one.minimum, one.pack_type, one.what))


def _free(
    what: str, row: PackType, modules: Mapping[str, int], components: Mapping[str, int]
) -> int:
    if what == MODULE:
        return modules.get(row.code, 0)
    return components.get(what, 0)
