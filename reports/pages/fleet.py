"""The fleet: the packs by how they are doing, the worst first, filtered, and as a file."""

import csv
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from io import StringIO
from typing import Any
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse, StreamingHttpResponse
from django.shortcuts import render
from django.utils import timezone

from packs.models import Site
from packs.pages.doors import page
from packs.pages.units import day, distance
from packs.reads import sites
from packs.reads.warranties import Term
from packs.rules.spreadsheets import defused
from reports.models import Outlook
from reports.models.outlooks import HORIZONS_DAYS
from reports.pages import standing, words
from reports.pages.figures import NBSP, capital, frequency, percent, volts
from reports.pages.filters import FleetFilter
from reports.reads import fleet as reading
from reports.reads import rhythm
from reports.reads.fleet import Asked, Line

HEADS = {
    "chance": "Chance of failing",
    "spread": "Spread now",
    "growth": "Growth",
    "seen": "Last seen",
    "next": "Next check",
}


@dataclass(frozen=True)
class Row:
    """One pack as the table shows it."""

    line: Line
    level: words.Level
    chance: str
    chance_figure: str
    spread: str
    limit: str
    by_trend: bool
    at_last_check: bool
    growth: str
    weakest: str
    seen: str
    next_check: str
    late: bool
    covered: str


@dataclass(frozen=True)
class Head:
    """The head of a column that orders: its link, and how it orders now, as ARIA says it."""

    label: str
    link: str
    sorted: str


@page("outlooks")
def fleet(request: HttpRequest) -> HttpResponse:
    """Those asked for, a page at a time, with how many there are at each level."""
    now, site = timezone.now(), sites.present()
    asked_for = FleetFilter(request.GET)
    asked = asked_for.asked()
    counted = reading.counts(asked)
    total = counted.get(asked.level, 0) if asked.level else sum(counted.values())
    pages = Paginator(range(total), reading.PAGE)
    shown = pages.get_page(request.GET.get("page"))
    lines = reading.page(asked, number=shown.number, at=now)
    checked = reading.last_spreads([one for one in lines if words.fell_short(one.outlook)])
    context = {
        "form": asked_for,
        "rows": [_row(line, asked, site, now, checked) for line in lines],
        "levels": _levels(request, counted),
        "packs": sum(counted.values()),
        "total": total,
        "missing": 0 if asked_for.narrowed() else reading.without_outlook(asked),
        "heads": {name: _head(request, asked, name) for name in HEADS},
        "within": words.HORIZON_WORDS[asked.horizon_days],
        "shown": shown,
        "before": _address(request, page=shown.number - 1) if shown.has_previous() else "",
        "after": _address(request, page=shown.number + 1) if shown.has_next() else "",
        "in_service": not asked_for.narrowed() and not {"type", "status"} & asked_for.given.keys(),
        "query": _address(request, page=None),
        "now": now,
    }
    return render(request, "reports/fleet.html", context)


def _levels(request: HttpRequest, counted: Mapping[str, int]) -> list[tuple[words.Level, int, str]]:
    """Each level there is, the worst first, with its count and the list that it sums."""
    return [
        (level, counted[name], _address(request, level=name, page=None))
        for name, level in reversed(list(words.LEVELS.items()))
        if counted.get(name)
    ]


def _address(request: HttpRequest, **changes: Any) -> str:
    """The present address with some fields changed, or left out where None."""
    said = {name: value for name, value in request.GET.items() if value} | changes
    return "?" + urlencode({name: value for name, value in said.items() if value is not None})


def _head(request: HttpRequest, asked: Asked, name: str) -> Head:
    present = asked.order == name
    turn = present and not asked.turned
    link = _address(request, order=f"-{name}" if turn else name, page=None)
    if not present:
        return Head(HEADS[name], link, "none")
    descending = (reading.DIRECTIONS[name] == "descending") != asked.turned
    return Head(HEADS[name], link, "descending" if descending else "ascending")


def _row(line: Line, asked: Asked, site: Site, now: datetime, checked: Mapping[int, float]) -> Row:
    outlook = line.outlook
    chance = float(getattr(outlook, f"p{asked.horizon_days}"))
    next_check, late = _next_check(line, now)
    measured, growth = checked.get(line.pack.pk, 0.0), outlook.growth_per_year
    over = measured >= outlook.limit_v
    spread = measured if over else outlook.spread_now_v
    return Row(
        line=line,
        level=words.LEVELS[outlook.level],
        chance=capital(frequency(chance)),
        chance_figure=percent(chance),
        spread="not known" if spread is None else f"{spread:.2f}",
        limit=volts(outlook.limit_v),
        by_trend=outlook.level != "too_little_data" and words.past_by_trend(outlook),
        at_last_check=over,
        growth="not known" if growth is None else _signed(growth),
        weakest=_weakest(outlook),
        seen="never" if line.pack.last_contact is None else day(line.pack.last_contact),
        next_check=next_check,
        late=late,
        covered=_covered(line.cover, site),
    )


def _weakest(outlook: Outlook) -> str:
    """The position with what it is a position of."""
    if outlook.weakest_position is None:
        return "not known"
    noun = words.LEVEL_NOUN.get(outlook.series.rpartition("/")[2], "position")
    return f"{noun}{NBSP}{outlook.weakest_position}"


def _signed(growth: float) -> str:
    return f"{growth * 100:+.0f}{NBSP}%".replace("-", "−")


def _next_check(line: Line, now: datetime) -> tuple[str, bool]:
    """When the next check is due, and whether that day has passed."""
    if line.pack.status in standing.OUT_OF_SERVICE:
        return "out of service", False
    if line.due_at == rhythm.NOW:
        return "now", False
    return day(line.due_at), line.due_at < now


def _covered(term: Term | None, site: Site) -> str:
    if term is None:
        return "not covered"
    if term.ends_on is not None:
        return day(term.ends_on)
    return distance(term.ends_km, site) or "km not known"


@page("outlooks")
def export(request: HttpRequest) -> StreamingHttpResponse:
    """The same packs in the same order as CSV (RFC 4180), sent as it is read."""
    now, site = timezone.now(), sites.present()
    lines = reading.every(FleetFilter(request.GET).asked(), at=now)
    answer = StreamingHttpResponse(_csv(lines, site), content_type="text/csv; charset=utf-8")
    name = f"packs-{sites.day(now, site).isoformat()}.csv"
    answer["Content-Disposition"] = f'attachment; filename="{name}"'
    return answer


EXPORTED = (
    "Pack",
    "Plate",
    "Pack type",
    "Status",
    "Level",
    *(f"Chance of failing within {days} days, %" for days in HORIZONS_DAYS),
    "Spread now, V",
    "Limit, V",
    "Growth, % a year",
    "Weakest position",
    "Last seen",
    "Last check",
    "Next check due",
    "Covered until",
    "Covered until, km",
    "Worked out",
)


def _csv(lines: Iterator[Line], site: Site) -> Iterator[str]:
    """A byte order mark first: spreadsheets then read letters beyond ASCII as they are."""
    yield "\ufeff" + _record(EXPORTED)
    for line in lines:
        yield _record(_cells(line, site))


def _record(cells: Iterable[Any]) -> str:
    written = StringIO()
    told = (defused(cell) if isinstance(cell, str) else cell for cell in cells)
    csv.writer(written).writerow(told)
    return written.getvalue()


def _cells(line: Line, site: Site) -> Iterator[Any]:
    outlook, pack, zone = line.outlook, line.pack, sites.zone(site)
    yield pack.serial
    yield line.vehicle.plate if line.vehicle else None
    yield pack.pack_type.code
    yield pack.status
    yield "being worked out" if line.owed else outlook.level
    for days in HORIZONS_DAYS:
        yield _figure(getattr(outlook, f"p{days}"), 100)
    yield _figure(outlook.spread_now_v)
    yield _figure(outlook.limit_v)
    yield _figure(outlook.growth_per_year, 100)
    yield outlook.weakest_position
    yield _date(pack.last_contact, zone)
    yield _date(line.last_check, zone)
    yield _due(line, zone)
    yield None if line.cover is None or line.cover.ends_on is None else line.cover.ends_on
    yield None if line.cover is None else line.cover.ends_km
    yield outlook.known_at.astimezone(zone).isoformat(timespec="minutes")


def _figure(value: float | None, times: float = 1.0) -> float | None:
    return None if value is None else float(f"{value * times:.6g}")


def _date(at: datetime | None, zone: ZoneInfo) -> str | None:
    return None if at is None else at.astimezone(zone).date().isoformat()


def _due(line: Line, zone: ZoneInfo) -> str | None:
    if line.pack.status in standing.OUT_OF_SERVICE:
        return None
    return "now" if line.due_at == rhythm.NOW else _date(line.due_at, zone)
