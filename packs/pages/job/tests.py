"""Tests of the modules of a pack: the newest figures by position, and how they rank."""

from dataclasses import dataclass

from django.http import HttpRequest
from django.http.response import HttpResponseBase

from packs.models import ModuleTest, Visit
from packs.pages.doors import page, roles
from packs.pages.job import frame
from packs.pages.module import UNITS, VERDICTS, Told, told
from packs.reads import module_tests
from packs.reads.module_tests import Seat
from packs.reads.roles import may
from packs.rules.module_tests import KIND_WORDS

OFF_Z = 3.5
"""Robust z from which a figure stands apart from its mates (Iglewicz and Hoaglin, in NIST/SEMATECH
e-Handbook of Statistical Methods, 1.3.5.17)."""


@dataclass(frozen=True)
class Figure:
    """A figure of a module: as it is written, its place among its mates, whether it is apart."""

    kind: str
    said: str
    rank: str
    apart: bool
    verdict: str


@dataclass(frozen=True)
class Line:
    """A position with its module and its figures, one a kind."""

    seat: Seat
    figures: tuple[Figure | None, ...]
    fails: bool


@page("module-tests")
def tests(request: HttpRequest, key: str) -> HttpResponseBase:
    """The modules of the pack on the bench with what their tests say."""
    visit = frame.visit_of(key)
    assert visit.pack is not None
    seats = module_tests.of_pack(visit.pack.pk)
    lines = [_line(seat) for seat in seats]
    context = {
        "lines": lines,
        "kinds": [KIND_WORDS[kind] for kind in module_tests.RANKED],
        "others": _others(visit, seats),
        "failing": [line for line in lines if line.fails],
        "tested": sum(bool(line.seat.newest) for line in lines),
        "untagged": sum(line.seat.module is None for line in lines),
        "layout": visit.pack.pack_type.layout,
        "records": may(roles(request), "module-tests", write=True),
    }
    return frame.shown(request, visit, "tests", "packs/job/tests.html", context)


def _line(seat: Seat) -> Line:
    figures = tuple(_figure(seat, kind) for kind in module_tests.RANKED)
    fails = any(one.computed.get("verdict") == "fail" for one in seat.newest.values())
    return Line(seat, figures, fails)


def _figure(seat: Seat, kind: str) -> Figure | None:
    ranked = seat.ranks.get(kind)
    if ranked is None:
        return None
    return Figure(
        kind=KIND_WORDS[kind],
        said=f"{ranked.figure:.3g} {UNITS[kind]}",
        rank=f"{ranked.place} of {ranked.of}" if ranked.of > 1 else "",
        apart=ranked.z is not None and abs(ranked.z) > OFF_Z,
        verdict=VERDICTS[ranked.test.computed.get("verdict", "no_mark")],
    )


def _others(visit: Visit, seats: list[Seat]) -> list[Told]:
    """Tests told on this visit of modules that do not sit in the pack now."""
    sit = [seat.module.pk for seat in seats if seat.module is not None]
    rows: list[ModuleTest] = list(
        module_tests.rows()
        .filter(visit=visit, voided_at__isnull=True)
        .exclude(module__in=sit)
        .order_by("-ended_at", "-pk")
    )
    return [told(row) for row in rows]
