"""The stock as a matching sees it: loose modules with their newest figures, and those that sit."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from django.db.models import Q, QuerySet

from packs.models import Module, ModuleTest, Pack, PackType, Placement, Visit
from packs.reads import kinds_of_modules
from packs.rules.closeness import FIGURES, Floats
from packs.rules.layouts import layout_of
from packs.rules.matching import Asked

DAY = timedelta(days=1)
Kind = tuple[str, str]  # form and generation


@dataclass(frozen=True)
class Figures:
    """The newest standing figure of each of FIGURES, None without one, and the age of the
    oldest of them in days."""

    values: tuple[float | None, ...]
    age_days: float


@dataclass(frozen=True)
class Candidates:
    """Modules of the stock with their figures: values (n, 3) NaN where none, age_days (n,)."""

    modules: tuple[Module, ...]
    values: Floats
    age_days: Floats


@dataclass(frozen=True)
class Seated:
    """What sits in a pack: kinds counted, and the figures (p, 3) by position, NaN unknown."""

    kinds: Mapping[Kind, int]
    tags: Mapping[int, str]
    values: Floats


def loose(pack_type: PackType, visit: Visit | None) -> QuerySet[Module]:
    """Modules that are free, or kept for this very visit, with the cells of the type and, as far
    as is known, its form and chemistry."""
    free = Q(status=Module.Status.STOCK)
    if visit is not None:
        free |= Q(status=Module.Status.RESERVED, reserved_for=visit)
    rows = Module.objects.filter(free, cells=pack_type.cells_per_module)
    form = kinds_of_modules.form_of_type(pack_type)
    rows = rows if form is None else rows.filter(form=form)
    others = kinds_of_modules.of_other_chemistry(rows, pack_type.chemistry)
    return rows.exclude(pk__in=others).order_by("tag")


def candidates(modules: Sequence[Module], *, at: datetime) -> Candidates:
    """Their newest figures; one query, however many they are."""
    found = figures([module.pk for module in modules], at=at)
    told = [found.get(module.pk, NOTHING) for module in modules]
    return Candidates(
        modules=tuple(modules),
        values=_table([one.values for one in told]),
        age_days=np.array([one.age_days for one in told], dtype=np.float64),
    )


NOTHING = Figures((None,) * len(FIGURES), 0.0)


def figures(module_ids: Iterable[int], *, at: datetime) -> Mapping[int, Figures]:
    """By module, the newest figure of each kind among the tests that stand, up to `at`."""
    rows = ModuleTest.objects.filter(
        module_id__in=list(module_ids), voided_at__isnull=True, ended_at__lte=at
    )
    newest: dict[int, dict[str, tuple[float, datetime]]] = {}
    told = rows.order_by("ended_at", "pk").values_list("module_id", "ended_at", *FIGURES)
    for module_id, ended_at, *values in told:
        mine = newest.setdefault(module_id, {})
        for name, value in zip(FIGURES, values, strict=True):
            if value is not None:
                mine[name] = (value, ended_at)
    return {pk: _figures(mine, at) for pk, mine in newest.items()}


def _figures(mine: Mapping[str, tuple[float, datetime]], at: datetime) -> Figures:
    ages = [(at - ended_at) / DAY for _, ended_at in mine.values()]
    return Figures(
        tuple(mine[name][0] if name in mine else None for name in FIGURES), max(ages, default=0.0)
    )


def _table(rows: Sequence[Sequence[float | None]]) -> Floats:
    table = [[np.nan if value is None else value for value in row] for row in rows]
    return np.array(table, dtype=np.float64).reshape(len(rows), len(FIGURES))


def seated(pack: Pack, *, at: datetime) -> Seated:
    """What sits in the pack now; two queries."""
    rows = Placement.objects.filter(pack=pack, removed_at__isnull=True, module__isnull=False)
    by_position = {row.position: row.module for row in rows.select_related("module")}
    found = figures([module.pk for module in by_position.values() if module], at=at)
    values = [NOTHING.values] * pack.pack_type.module_count
    for position, module in by_position.items():
        if module is not None:
            values[position - 1] = found.get(module.pk, NOTHING).values
    sitting = {position: module for position, module in by_position.items() if module is not None}
    return Seated(
        kinds=Counter((module.form, module.generation) for module in sitting.values()),
        tags={position: module.tag for position, module in sitting.items()},
        values=_table(values),
    )


def kind_wanted(modules: Sequence[Module], kinds: Mapping[Kind, int]) -> Kind | None:
    """The form and generation to match in: what sits in the pack, else what there is most of."""
    counted = kinds or Counter((module.form, module.generation) for module in modules)
    if not counted:
        return None
    return max(sorted(counted), key=lambda kind: counted[kind])


def pass_marks(pack_type: PackType) -> dict[str, float | None]:
    """The marks of the type by the names of FIGURES."""
    marks = layout_of(pack_type.bench).pass_marks
    return {name: getattr(marks, name) for name in FIGURES}


def asked_of(pack: Pack, positions: Sequence[int], seated: Seated, found: Candidates) -> Asked:
    """The question of a matching: these candidates for these positions, beside what stays."""
    stay = seated.values.copy()
    stay[[position - 1 for position in positions]] = np.nan
    return Asked(
        tags=tuple(module.tag for module in found.modules),
        figures=found.values,
        age_days=found.age_days,
        blocks=tuple(pack.pack_type.blocks),
        positions=tuple(positions),
        stay=stay,
        pass_marks=pass_marks(pack.pack_type),
    )
