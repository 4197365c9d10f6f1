"""Tests of modules: what stands, by what they are judged, and how modules compare."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from django.db.models import F, QuerySet

from packs.models import Module, ModuleTest, PackType, Placement, TestSeries, Visit
from packs.rules import curves, resistance
from packs.rules.module_tests import CAPACITY, RESISTANCE, STAND, Basis, Curve
from packs.rules.noise import robust_z

CYCLES_WITHIN_DAYS = 30
"""Days within which two cycles of a module belong to one test of its capacity. Common practice, no
source."""

RANKED = {CAPACITY: "capacity_ah", RESISTANCE: "resistance_mohm", STAND: "stand_mv_per_day"}
BEST_HIGH = frozenset({CAPACITY})  # of the others the lowest figure is the best


@dataclass(frozen=True)
class Ranked:
    """A figure of a module among its mates: place 1 is the best of `of`; robust z, or None."""

    test: ModuleTest
    figure: float
    place: int
    of: int
    z: float | None


@dataclass(frozen=True)
class Seat:
    """A position of a pack, its module, and the newest test of each kind with its rank."""

    position: int
    module: Module | None
    newest: Mapping[str, ModuleTest]
    ranks: Mapping[str, Ranked]


def rows() -> QuerySet[ModuleTest]:
    return ModuleTest.objects.select_related("module", "equipment", "visit", "done_by", "client")


def standing(modules: Collection[int]) -> QuerySet[ModuleTest]:
    """The tests of these modules that count, newest first."""
    found = rows().filter(module__in=modules, voided_at__isnull=True)
    return found.order_by("-ended_at", "-pk")


def type_of(module: Module, visit: Visit | None = None) -> PackType | None:
    """The type by whose marks a module is judged: of the pack of the visit, else of the one that
    it sits in or sat in last, else of its donor; None where none of these has such modules."""
    sat = Placement.objects.filter(module=module).select_related("pack__pack_type")
    last = sat.order_by(F("removed_at").desc(nulls_first=True), "-pk").first()
    packs = (visit.pack if visit else None, last.pack if last else None, module.donor_pack)
    types = [one.pack_type for one in packs if one is not None]
    return next((one for one in types if one.cells_per_module == module.cells), None)


def basis_of(module: Module, kind: PackType | None) -> Basis:
    """What a module's figures are worked out by."""
    if kind is None:
        return Basis(cells=module.cells)
    return Basis(
        cells=module.cells,
        chemistry=kind.chemistry,
        cut_off_cell_v=kind.layout.protocol.cut_off_cell_v,
        rated_ah=kind.rated_capacity_ah,
        reference_c=kind.reference_temperature_c,
    )


def cycle_before(module: Module, cycle: int | None, started_at: datetime) -> ModuleTest | None:
    """The test of the cycle before this one, of the same run of cycles."""
    if cycle is None or cycle < 2:
        return None
    since = started_at - timedelta(days=CYCLES_WITHIN_DAYS)
    found = ModuleTest.objects.filter(
        module=module,
        kind=CAPACITY,
        cycle=cycle - 1,
        voided_at__isnull=True,
        ended_at__range=(since, started_at),
    )
    return found.order_by("-ended_at", "-pk").first()


def series_of(test: ModuleTest) -> Curve | None:
    """The raw series of a test, where one was told."""
    kept = TestSeries.objects.filter(test=test).first()
    return None if kept is None else curves.unpack(bytes(kept.packed), kept.points)


def newest_of(modules: Collection[int]) -> dict[int, dict[str, ModuleTest]]:
    """By module, the newest standing test of each kind."""
    found: dict[int, dict[str, ModuleTest]] = {number: {} for number in modules}
    for test in standing(modules):
        found[test.module_id].setdefault(test.kind, test)
    return found


def of_pack(pack_id: int) -> list[Seat]:
    """The modules that sit in a pack, by position, with their newest tests ranked."""
    sits = Placement.objects.filter(pack=pack_id, removed_at__isnull=True).select_related("module")
    seats = list(sits.order_by("position"))
    newest = newest_of([one.module_id for one in seats if one.module_id is not None])
    ranks = {
        kind: rank(kind, [one[kind] for one in newest.values() if kind in one]) for kind in RANKED
    }
    return [
        Seat(
            position=one.position,
            module=one.module,
            newest=newest.get(one.module_id or 0, {}),
            ranks={
                kind: ranked[one.module_id or 0]
                for kind, ranked in ranks.items()
                if (one.module_id or 0) in ranked
            },
        )
        for one in seats
    ]


def rank(kind: str, tests: Sequence[ModuleTest]) -> dict[int, Ranked]:
    """By module, the place of its figure among those that were measured alike."""
    ranked: dict[int, Ranked] = {}
    for group in alike(kind, tests):
        figures = np.array([getattr(test, RANKED[kind]) for test in group])
        order = np.argsort(-figures if kind in BEST_HIGH else figures, kind="stable")
        scores = robust_z(figures) if len(group) > 2 else np.full(len(group), np.nan)
        for place, at in enumerate(order.tolist(), 1):
            z = float(scores[at])
            ranked[group[at].module_id] = Ranked(
                test=group[at],
                figure=float(figures[at]),
                place=place,
                of=len(group),
                z=z if np.isfinite(z) else None,
            )
    return ranked


def alike(kind: str, tests: Iterable[ModuleTest]) -> list[list[ModuleTest]]:
    """Tests that may be compared: resistances of one way and about one pulse length."""
    known = [test for test in tests if getattr(test, RANKED[kind]) is not None]
    if kind != RESISTANCE:
        return [known] if known else []
    groups: list[list[ModuleTest]] = []
    for test in known:
        for group in groups:
            if _measured_alike(group[0], test):
                group.append(test)
                break
        else:
            groups.append([test])
    return groups


def _measured_alike(one: ModuleTest, other: ModuleTest) -> bool:
    if one.computed.get("how") != other.computed.get("how"):
        return False
    if one.computed.get("how") == resistance.AS_READ and one.method != other.method:
        return False
    return resistance.are_alike(one.computed.get("pulse_s"), other.computed.get("pulse_s"))
