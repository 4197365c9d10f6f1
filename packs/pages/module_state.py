"""A module's place in the stock: reserved, released, set aside or scrapped, and where it lies."""

from collections.abc import Mapping
from functools import partial
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone

from packs.errors import DomainError
from packs.models import Module, Visit
from packs.pages.doors import actor, form
from packs.pages.forms import EntryForm
from packs.pages.origins import deciders
from packs.reads import names, visits
from packs.rules.identity import encode
from packs.writes import modules

VISITS = 50  # the newest open ones that a module may be kept for
STATES = [
    (Module.Status.STOCK.value, "In stock, free for any job"),
    (Module.Status.RESERVED.value, "Reserved"),
    (Module.Status.ON_TEST.value, "On a tester"),
    (Module.Status.QUARANTINED.value, "Quarantined: not to be fitted"),
    (Module.Status.SCRAPPED.value, "Scrapped"),
]
TEXTS = ("generation", "shelf")


def _visits() -> list[tuple[str, str]]:
    """Open visits of packs, by id and by what the desk calls them."""
    rows = Visit.objects.exclude(state=Visit.State.CLOSED).filter(pack__isnull=False)
    newest = rows.select_related("vehicle", "pack").order_by("-opened_at", "-pk")[:VISITS]
    return [("", "no visit in particular"), *((_key(row), visits.name_of(row)) for row in newest)]


def _key(row: Visit) -> str:
    return encode(Visit.PREFIX, row.pk)


class PlaceForm(EntryForm):
    """Where a module lies; `version` is the one that whoever sends it was looking at."""

    shelf = forms.CharField(label="Shelf", max_length=40, required=False)
    generation = forms.CharField(label="Generation", max_length=40, required=False)
    version = forms.IntegerField(widget=forms.HiddenInput, min_value=1)


class StateForm(PlaceForm):
    """The same, with the state of a module that sits in no pack."""

    status = forms.ChoiceField(label="State", choices=STATES, widget=forms.RadioSelect)
    reserved_for = forms.ChoiceField(
        label="Reserved for", choices=_visits, required=False, help_text="For a reserved one alone."
    )
    status_reason = forms.CharField(
        label="Why",
        max_length=1000,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="For who finds it on the shelf.",
    )
    done_by = forms.ChoiceField(label="Who says so", choices=deciders)

    field_order = ("status", "reserved_for", "status_reason", "done_by", "shelf", "generation")


@form("modules")
def module_state(request: HttpRequest, tag: str) -> HttpResponseBase:
    """Change the state of a module, with a reason, or where it lies."""
    row = names.keyed(Module.objects.select_related("reserved_for"), tag=tag)
    kind = PlaceForm if row.status == Module.Status.FITTED else StateForm
    filled = kind(request.POST or None, initial=_initial(row))
    if request.method == "POST" and filled.is_valid() and _changed(request, row, filled):
        messages.success(request, f"{row.tag} is changed.")
        return redirect("module", tag=row.tag)
    context = {"form": filled, "module": row}
    status = 422 if filled.errors else 200
    return render(request, "packs/stock/module.html", context, status=status)


def _initial(row: Module) -> Mapping[str, Any]:
    return {
        "status": row.status,
        "reserved_for": "" if row.reserved_for is None else _key(row.reserved_for),
        "shelf": row.shelf,
        "generation": row.generation,
        "version": row.version,
    }


def _changed(request: HttpRequest, row: Module, filled: PlaceForm) -> bool:
    said = {**filled.entry(), **{name: filled.cleaned_data[name] for name in TEXTS}}
    version = said.pop("version")
    change = partial(
        modules.change_module,
        row,
        by=actor(request),
        at=timezone.now(),
        version=version,
        changes=said,
    )
    try:
        change()
    except DomainError as error:
        filled.refuse(error)
        return False
    return True
