"""Addresses of judgement, below /api/v1/."""

from django.urls import path

from reports.api import outlooks, repair_options

urlpatterns = [
    path("packs/<str:serial>/outlook/", outlooks.PackOutlook.as_view()),
    path("packs/<str:serial>/repair-options/", repair_options.RepairOptions.as_view()),
    path("outlooks/", outlooks.Outlooks.as_view()),
]
