"""Addresses of the pages that show judgement."""

from django.urls import path

from reports.pages import pack, vehicle

urlpatterns = [
    path("packs/<str:serial>/", pack.pack, name="pack"),
    path("vehicles/<str:vin>/", vehicle.vehicle, name="vehicle"),
]
