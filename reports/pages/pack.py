"""The page of a pack: what to tell the owner, then what that rests on, then what to do."""

from datetime import UTC, datetime, time, timedelta
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone

from packs.models import Customer, Site
from packs.pages.doors import page, roles
from packs.pages.units import distance
from packs.reads import sites
from packs.reads.roles import may
from packs.rules.identity import encode
from reports.models import Outlook
from reports.pages import charts, standing, tables, unknown, words, work
from reports.pages.cover import covered
from reports.pages.figures import EPOCH
from reports.pages.forecast import Forecast
from reports.pages.past import past
from reports.pages.ways import ways
from reports.reads import pack_page
from reports.reads.pack_page import PackPage
from reports.reads.vantages import DAY_S
from reports.writes import outlooks

LOOKS_SHOWN = 3


@page("outlooks")
def pack(request: HttpRequest, serial: str) -> HttpResponse:
    """One pack, its answer first."""
    now = timezone.now()
    outlook = outlooks.present_of(serial, at=now)
    shown, site = pack_page.gather(outlook.pack, at=now), sites.present()
    context = {
        "page": shown,
        "outlook": outlook,
        "sees_owner": may(roles(request), "customers", write=False),
        "owner_link": _owner_link(shown),
        **answer(outlook, shown, site, now),
        **_said(outlook, shown, now),
        **trend(outlook, shown, now),
        **_bench(shown),
        **_told(shown, site),
        "from_here": ways(shown, roles(request)),
        "now": now,
        "past": past(request, shown, site),
        "as_read": words.as_read(shown, site),
    }
    return render(request, "reports/pack.html", context)


def _owner_link(shown: PackPage) -> str:
    """The page of who owns the car that it sits in; empty where nobody is recorded."""
    customer = None if shown.installation is None else shown.installation.vehicle.customer
    if customer is None:
        return ""
    return reverse("customer", args=[encode(Customer.PREFIX, customer.pk)])


def answer(outlook: Outlook, shown: PackPage, site: Site, now: datetime) -> dict[str, Any]:
    """What is told first, here and on the pages that say it again."""
    again = standing.see_again(outlook, shown, site, at=now)
    asked = "" if again is None else again.asked
    return {
        "level": words.LEVELS[outlook.level],
        "standing": standing.OUT_OF_SERVICE.get(shown.pack.status),
        "gone": shown.pack.status in standing.GONE,
        "for_owner": words.for_owner(outlook, shown.trail, at=now, again=asked),
        "again": again,
        "covered": covered(shown, site, timezone.localdate(now)),
    }


def _said(outlook: Outlook, shown: PackPage, now: datetime) -> dict[str, Any]:
    """The words of the page."""
    return {
        "old": words.by_old_trend(outlook, shown.trail, at=now),
        "for_bench": words.for_bench(outlook, shown.trail, shown.bench, at=now),
        "figures": words.figures(outlook, shown, at=now),
        "pace": words.pace(outlook, shown.trail, at=now),
        "at_last_check": words.at_last_check(outlook, shown.trail),
        "reasons": words.reasons(outlook, shown.bench),
        "learnt_from": words.learnt_from(outlook),
        "chances": words.chances(outlook),
        "suspicions": unknown.suspects(shown),
        "strange": unknown.strange(shown),
        "not_known": list(unknown.not_known(outlook, shown, at=now)),
        "would_settle": unknown.would_settle(outlook, shown, at=now),
    }


def trend(outlook: Outlook, shown: PackPage, now: datetime) -> dict[str, Any]:
    """The spread through time: in words, drawn, and as a table."""
    forecast = _forecast(outlook, shown, now)
    told: dict[str, Any] = {
        "trend": None,
        "has_band": forecast is not None,
        "conditions": words.conditions(outlook),
        "spread_words": tables.trail_sentence(outlook, shown.trail),
    }
    if shown.trail.read or shown.trail.beside:
        told["trend"] = charts.trend(shown.trail, forecast, now_day=_today(now))
        told["trend_rows"] = tables.trail_table(shown.trail)
    return told


def _today(now: datetime) -> float:
    """The end of the day where the site is, in days since 1970: one drawing serves all day."""
    begun = datetime.combine(timezone.localdate(now) + timedelta(days=1), time.min, tzinfo=UTC)
    return begun.timestamp() / DAY_S


def _bench(shown: PackPage) -> dict[str, Any]:
    """The pack with its last check on it: in words, drawn, and as a table."""
    if shown.bench is None:
        return {"bench": None}
    return {
        "bench": charts.bench(shown.bench),
        "bench_rows": tables.bench_rows(shown.bench),
        "bench_words": tables.bench_sentence(shown.bench),
    }


def _forecast(outlook: Outlook, shown: PackPage, now: datetime) -> Forecast | None:
    """Where the spread may go; nothing from an old check, nor for a pack over its limit or gone."""
    told, last = words.limit_days(outlook), shown.trail.last
    if told is None or last is None or last.spread_v >= outlook.limit_v:
        return None
    if words.stale(shown.trail, now) or shown.pack.status in standing.GONE:
        return None
    early, _, late = (None if when is None else float((when - EPOCH.date()).days) for when in told)
    return Forecast(last.day, last.spread_v, early, late)


def _told(shown: PackPage, site: Site) -> dict[str, Any]:
    """What is said in the units of the site."""
    sat, records = shown.installation, shown.records
    return {
        "km": "" if sat is None else distance(sat.installed_km, site),
        "stays": work.stays(records.installations, site),
        "done": work.done(records.works),
        "failed": work.failed(records.failures),
        "inspected": [(row, work.findings(row)) for row in records.looks[:LOOKS_SHOWN]],
    }
