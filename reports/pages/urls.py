"""Addresses of the pages that show judgement."""

from django.urls import path

from reports.pages import decision, fleet, pack, sheet, today, vehicle, watch

urlpatterns = [
    path("today/", today.today, name="today"),
    path("packs/", fleet.fleet, name="fleet"),
    path("packs/export.csv", fleet.export, name="fleet-export"),
    path("packs/<str:serial>/", pack.pack, name="pack"),
    path("packs/<str:serial>/sheet/", sheet.sheet, name="sheet"),
    path("visits/<str:key>/job/decision/", decision.decision, name="job-decision"),
    path("watch/", watch.watch, name="watch"),
    path("vehicles/<str:vin>/", vehicle.vehicle, name="vehicle"),
]
