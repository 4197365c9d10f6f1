"""The page of a module: what it is, where it sits, and where it sat."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from packs.models import Module
from packs.pages.doors import page
from packs.reads import names


@page("modules")
def module(request: HttpRequest, tag: str) -> HttpResponse:
    """A module by its tag."""
    rows = Module.objects.select_related("lot", "donor_pack")
    row = names.keyed(rows, tag=tag)
    sat = row.placements.select_related("pack").order_by("-fitted_at", "-pk")
    return render(request, "packs/module.html", {"module": row, "placements": sat})
