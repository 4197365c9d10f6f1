"""Addresses of the facts, below /api/v1/."""

from django.urls import path

from packs.api import (
    customers,
    failures,
    pack_types,
    packs,
    swaps,
    vehicles,
    visits,
    voltage_checks,
)

urlpatterns = [
    path("pack-types/", pack_types.PackTypes.as_view()),
    path("pack-types/<str:code>/", pack_types.OnePackType.as_view()),
    path("pack-types/<str:code>/versions/", pack_types.PackTypeVersions.as_view()),
    path("packs/", packs.Packs.as_view()),
    path("packs/<str:serial>/", packs.OnePack.as_view()),
    path("vehicles/", vehicles.Vehicles.as_view()),
    path("vehicles/<str:vin>/", vehicles.OneVehicle.as_view()),
    path("customers/", customers.Customers.as_view()),
    path("customers/<str:id>/", customers.OneCustomer.as_view()),
    path("visits/", visits.Visits.as_view()),
    path("visits/<str:id>/", visits.OneVisit.as_view()),
    path("failures/", failures.Failures.as_view()),
    path("failures/<str:id>/", failures.OneFailure.as_view()),
    path("failures/<str:id>/void/", failures.VoidFailure.as_view()),
    path("swaps/", swaps.Swaps.as_view()),
    path("swaps/<str:id>/", swaps.OneSwap.as_view()),
    path("swaps/<str:id>/void/", swaps.VoidSwap.as_view()),
    path("voltage-checks/", voltage_checks.VoltageChecks.as_view()),
    path("voltage-checks/<str:id>/", voltage_checks.OneVoltageCheck.as_view()),
    path("voltage-checks/<str:id>/void/", voltage_checks.VoidVoltageCheck.as_view()),
]
