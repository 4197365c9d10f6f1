"""The page of a module: what it is, how it tests, where it sits and where it sat."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from packs.models import Module, ModuleTest
from packs.pages import curves
from packs.pages.doors import page, roles
from packs.reads import module_tests, names, planned_tests
from packs.reads.roles import may
from packs.rules.layouts import PassMarks
from packs.rules.module_figures import WORDED
from packs.rules.module_tests import CAPACITY, KIND_WORDS, RESISTANCE, STAND

UNITS = {CAPACITY: "Ah", RESISTANCE: "mΩ", STAND: "mV a day"}
TITLES = {CAPACITY: "Capacity", RESISTANCE: "Resistance", STAND: "Loss at stand"}
VERDICTS = {"pass": "passes", "fail": "fails", "no_mark": "not judged"}
STANDS = {  # a module's state in a sentence
    Module.Status.FITTED: "It sits in a pack.",
    Module.Status.STOCK: "It is in stock.",
    Module.Status.ON_TEST: "It is on a tester.",
    Module.Status.RESERVED: "It is reserved.",
    Module.Status.QUARANTINED: "It is quarantined: do not fit it.",
    Module.Status.SCRAPPED: "It is scrapped: do not fit it.",
}


@dataclass(frozen=True)
class Told:
    """A test in words."""

    row: ModuleTest
    kind: str
    figure: str
    how: str
    verdict: str
    reasons: tuple[str, ...]


@page("modules")
def module(request: HttpRequest, tag: str) -> HttpResponse:
    """A module by its tag."""
    rows = Module.objects.select_related("lot", "donor_pack", "reserved_for")
    row = names.keyed(rows, tag=tag)
    sat = row.placements.select_related("pack").order_by("-fitted_at", "-pk")
    tests = list(module_tests.standing([row.pk]))
    context = {
        "module": row,
        "stands": STANDS[Module.Status(row.status)],
        "says": _says(tests),
        "placements": sat,
        "tests": [told(test) for test in tests],
        "curves": [*_discharges(tests), *_figures(row, tests)],
        "waits": [
            (one, KIND_WORDS[one.kind]) for one in planned_tests.for_module(row, at=timezone.now())
        ],
        "records": may(roles(request), "module-tests", write=True),
    }
    return render(request, "packs/module.html", context)


def told(test: ModuleTest) -> Told:
    """A test in words."""
    computed = test.computed
    return Told(
        row=test,
        kind=KIND_WORDS[test.kind],
        figure=figure_of(test),
        how=WORDED.get(computed.get("how", ""), ""),
        verdict=VERDICTS[computed.get("verdict", "no_mark")],
        reasons=(
            *computed.get("reasons", ()),
            *computed.get("notes", ()),
            *computed.get("warnings", ()),
        ),
    )


def figure_of(test: ModuleTest) -> str:
    """What it came to, with its unit."""
    if test.kind in module_tests.RANKED:
        figure = getattr(test, module_tests.RANKED[test.kind])
        if figure is not None:
            return f"{figure:.3g} {UNITS[test.kind]}"
        lost = test.computed.get("pct_per_day")
        return "no figure" if lost is None else f"{lost:.2g} % a day"
    return f"{test.computed.get('sag_v', 0):.2f} V at {test.measured.get('current_a', 0):g} A"


def _says(tests: Sequence[ModuleTest]) -> str:
    """The answer: how the newest test of each kind judged it."""
    newest: dict[str, ModuleTest] = {}
    for test in tests:
        newest.setdefault(test.kind, test)
    if not newest:
        return "No test of it is recorded."
    return (
        "Newest tests: "
        + "; ".join(
            f"{TITLES.get(kind, KIND_WORDS[kind]).lower()} {figure_of(test)}, "
            f"{VERDICTS[test.computed.get('verdict', 'no_mark')]}"
            for kind, test in newest.items()
        )
        + "."
    )


def _discharges(tests: Sequence[ModuleTest]) -> list[curves.Drawing]:
    """The newest discharge that has its series."""
    for test in tests:
        if test.kind == CAPACITY and test.computed.get("how") == "series":
            curve = module_tests.series_of(test)
            if curve is not None:
                return [curves.discharge(curve, test.computed.get("cut_off_v"))]
    return []


def _figures(row: Module, tests: Sequence[ModuleTest]) -> list[curves.Drawing]:
    """Each figure test by test, with the mark of its type; of resistances those measured alike."""
    kind_of_pack = module_tests.type_of(row)
    marks = kind_of_pack.layout.pass_marks if kind_of_pack else PassMarks()
    drawn = []
    for kind, column in module_tests.RANKED.items():
        of_kind = [
            test for test in tests if test.kind == kind and getattr(test, column) is not None
        ]
        alike = module_tests.alike(kind, of_kind)
        if alike:
            mark = getattr(marks, column)
            drawn.append(
                curves.through_time(
                    TITLES[kind],
                    UNITS[kind],
                    [(test.ended_at, getattr(test, column)) for test in reversed(alike[0])],
                    None if mark is None else (mark, f"mark {mark:g}"),
                )
            )
    return drawn
