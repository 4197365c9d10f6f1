"""The page of a car: what it is, the pack in it now, and those it had."""

from datetime import datetime
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from packs.models import Pack, Site, Visit
from packs.pages.doors import page, roles
from packs.pages.units import distance
from packs.reads import sites
from packs.reads.roles import may
from packs.rules.identity import encode
from reports.pages.pack import answer
from reports.reads import pack_page, vehicle_page
from reports.writes import outlooks


@page("vehicles")
def vehicle(request: HttpRequest, vin: str) -> HttpResponse:
    """A car; whose it is, only for who may see customers."""
    now = timezone.now()
    sees_owner = may(roles(request), "customers", write=False)
    shown = vehicle_page.gather(vin, with_owner=sees_owner)
    site = sites.present()
    context = {
        "page": shown,
        "sees_owner": sees_owner,
        "now": now,
        **_answer(shown.present, site, now),
        "had": [
            (row, distance(row.installed_km, site), distance(row.removed_km, site))
            for row in shown.installations
        ],
        "visits": [
            (row, encode(Visit.PREFIX, row.pk), distance(row.odometer_km, site))
            for row in shown.visits
        ],
        "here": next((row for row in shown.visits if row.state != Visit.State.CLOSED), None),
        "checks_in": sees_owner and may(roles(request), "visits", write=True),
    }
    return render(request, "reports/vehicle.html", context)


def _answer(pack: Pack | None, site: Site, now: datetime) -> dict[str, Any]:
    """How the pack in the car is doing."""
    if pack is None:
        return {}
    outlook, shown = outlooks.present(pack, at=now), pack_page.gather(pack, at=now)
    return answer(outlook, shown, site, now)
