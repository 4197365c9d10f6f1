"""The page of a pack: how it is doing, what it is, what was measured, what was done."""

from datetime import datetime
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from packs.pages.doors import page, roles
from packs.pages.units import distance
from packs.reads import names, sites
from packs.reads.roles import may
from reports.models import Outlook
from reports.pages import charts, standing, tables, words, work
from reports.pages.cover import covers
from reports.pages.figures import EPOCH
from reports.pages.forecast import Forecast
from reports.pages.past import past
from reports.reads import pack_page
from reports.reads.knowledge import DAY_S
from reports.reads.pack_page import PackPage
from reports.writes import outlooks


@page("outlooks")
def pack(request: HttpRequest, serial: str) -> HttpResponse:
    """One pack, its answer first."""
    now = timezone.now()
    row = names.keyed(names.packs(), serial__upper=serial.upper())
    outlook = outlooks.present(row, at=now)
    shown = pack_page.gather(row, at=now)
    context = {
        "page": shown,
        "outlook": outlook,
        "sees_owner": may(roles(request), "customers", write=False),
        **_said(outlook, shown, now),
        **_drawn(outlook, shown, now),
        **_told(shown),
        "next_check": standing.next_check(outlook, shown, sites.present(), at=now),
        "now": now,
        "past": past(request, row),
    }
    return render(request, "reports/pack.html", context)


def _said(outlook: Outlook, shown: PackPage, now: datetime) -> dict[str, Any]:
    """The words of the page."""
    return {
        "level": words.LEVELS[outlook.level],
        "standing": standing.OUT_OF_SERVICE.get(shown.pack.status),
        "old": words.by_old_trend(outlook, shown.trail, at=now),
        "gone": shown.pack.status in standing.GONE,
        "for_owner": words.for_owner(outlook, shown.trail, at=now),
        "for_bench": words.for_bench(outlook, shown.trail, shown.bench, at=now),
        "at_last_check": words.at_last_check(outlook, shown.trail),
        "reasons": words.reasons(outlook, shown.bench),
        "learnt_from": words.learnt_from(outlook),
        "chances": words.chances(outlook),
        "suspicions": words.suspects(shown),
        "not_known": list(words.not_known(outlook, shown, at=now)),
        "would_tell": words.would_tell(outlook),
        "conditions": words.conditions(outlook),
        "spread_words": tables.trail_sentence(outlook, shown.trail),
        "bench_words": None if shown.bench is None else tables.bench_sentence(shown.bench),
    }


def _drawn(outlook: Outlook, shown: PackPage, now: datetime) -> dict[str, Any]:
    """The charts, each with its table."""
    forecast = _forecast(outlook, shown, now)
    drawn: dict[str, Any] = {"trend": None, "bench": None, "has_band": forecast is not None}
    if shown.trail.read or shown.trail.beside:
        now_day = now.timestamp() / DAY_S
        drawn["trend"] = charts.trend(shown.trail, forecast, now_day=now_day)
        drawn["trend_rows"] = tables.trail_rows(shown.trail)
    if shown.bench is not None:
        drawn["bench"] = charts.bench(shown.bench)
        drawn["bench_rows"] = tables.bench_rows(shown.bench)
    return drawn


def _forecast(outlook: Outlook, shown: PackPage, now: datetime) -> Forecast | None:
    """Where the spread may go; nothing from an old check, nor for a pack over its limit or gone."""
    told, last = words.limit_days(outlook), shown.trail.last
    if told is None or last is None or last.spread_v >= outlook.limit_v:
        return None
    if words.stale(shown.trail, now) or shown.pack.status in standing.GONE:
        return None
    early, _, late = (None if when is None else float((when - EPOCH.date()).days) for when in told)
    return Forecast(last.day, last.spread_v, early, late)


def _told(shown: PackPage) -> dict[str, Any]:
    """What is said in the units of the site."""
    site, sat = sites.present(), shown.installation
    return {
        "km": "" if sat is None else distance(sat.installed_km, site),
        "cover": covers(shown.promises, site),
        "stays": work.stays(shown.installations, site),
        "done": work.done(shown.swaps),
        "inspected": [(row, work.findings(row)) for row in shown.inspections],
    }
