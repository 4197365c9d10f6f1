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
from reports.pages import charts, tables, words
from reports.pages.charts import EPOCH
from reports.pages.cover import covers
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
        **_drawn(outlook, shown),
        **_told(shown),
        "past": past(request, row),
    }
    return render(request, "reports/pack.html", context)


def _said(outlook: Outlook, shown: PackPage, now: datetime) -> dict[str, Any]:
    """The words of the page."""
    return {
        "level": words.LEVELS[outlook.level],
        "for_owner": words.for_owner(outlook),
        "for_bench": words.for_bench(outlook, shown.bench),
        "learnt_from": words.learnt_from(outlook),
        "chances": words.chances(outlook),
        "suspicions": words.suspects(shown),
        "not_known": list(words.not_known(outlook, shown, at=now)),
        "would_settle": words.would_settle(outlook),
        "conditions": words.conditions(outlook),
        "spread_words": tables.trail_sentence(outlook, shown.trail),
        "bench_words": None if shown.bench is None else tables.bench_sentence(shown.bench),
    }


def _drawn(outlook: Outlook, shown: PackPage) -> dict[str, Any]:
    """The charts, each with its table."""
    forecast = _forecast(outlook)
    drawn: dict[str, Any] = {"trend": None, "bench": None, "has_band": forecast is not None}
    if shown.trail.read or shown.trail.beside:
        now_day = outlook.as_of.timestamp() / DAY_S
        drawn["trend"] = charts.trend(shown.trail, forecast, now_day=now_day)
        drawn["trend_rows"] = tables.trail_rows(shown.trail)
    if shown.bench is not None:
        drawn["bench"] = charts.bench(shown.bench)
        drawn["bench_rows"] = tables.bench_rows(shown.bench)
    return drawn


def _forecast(outlook: Outlook) -> charts.Forecast | None:
    """Where the spread may go; nothing where it is over its limit already."""
    told = words.limit_days(outlook)
    if told is None or outlook.spread_now_v is None or outlook.spread_now_v >= outlook.limit_v:
        return None
    if outlook.level == "over_limit":
        return None
    early, _, late = (None if when is None else float((when - EPOCH).days) for when in told)
    return charts.Forecast(outlook.as_of.timestamp() / DAY_S, outlook.spread_now_v, early, late)


def _told(shown: PackPage) -> dict[str, Any]:
    """What is said in the units of the site."""
    site, sat = sites.present(), shown.installation
    return {
        "km": "" if sat is None else distance(sat.installed_km, site),
        "cover": covers(shown.promises, site),
    }
