"""The page of a car: what it is, the pack in it now, and those it had."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from packs.pages.doors import page, roles
from packs.pages.units import distance
from packs.reads import sites
from packs.reads.roles import may
from reports.pages import words
from reports.reads import vehicle_page
from reports.writes import outlooks


@page("vehicles")
def vehicle(request: HttpRequest, vin: str) -> HttpResponse:
    """A car; whose it is, only for who may see customers."""
    sees_owner = may(roles(request), "customers", write=False)
    shown = vehicle_page.gather(vin, with_owner=sees_owner)
    outlook = None
    if shown.present is not None:
        outlook = outlooks.present(shown.present, at=timezone.now())
    site = sites.present()
    context = {
        "page": shown,
        "sees_owner": sees_owner,
        "outlook": outlook,
        "level": None if outlook is None else words.LEVELS[outlook.level],
        "for_owner": None if outlook is None else words.for_owner(outlook),
        "had": [
            (row, distance(row.installed_km, site), distance(row.removed_km, site))
            for row in shown.installations
        ],
        "visits": [(row, distance(row.odometer_km, site)) for row in shown.visits],
    }
    return render(request, "reports/vehicle.html", context)
