"""Addresses of the facts, below /api/v1/."""

from django.urls import path

from packs.api import failures, voltage_checks

urlpatterns = [
    path("failures/", failures.Failures.as_view()),
    path("failures/<str:id>/", failures.OneFailure.as_view()),
    path("failures/<str:id>/void/", failures.VoidFailure.as_view()),
    path("voltage-checks/", voltage_checks.VoltageChecks.as_view()),
    path("voltage-checks/<str:id>/", voltage_checks.OneVoltageCheck.as_view()),
    path("voltage-checks/<str:id>/void/", voltage_checks.VoidVoltageCheck.as_view()),
]
