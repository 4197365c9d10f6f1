"""The pages of equipment: what is due, and what a piece touched when it proves bad."""

from datetime import datetime
from functools import partial
from typing import Any

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone

from packs.errors import DomainError
from packs.models import Equipment
from packs.pages.doors import actor, form, page, roles
from packs.pages.forms import Day, EntryForm
from packs.reads import equipment as reads
from packs.reads import history, names, sites, touched
from packs.reads.roles import may
from packs.reads.touched import Asked, Place, Touch
from packs.rules.identity import decode, encode
from packs.writes import equipment as writes

SHOWN = 50  # records a page
WORDS = {
    "bad": "Bad",
    "overdue": "Overdue",
    "due_soon": "Due soon",
    "good": "In date",
    "undated": "No date",
}


class BadForm(EntryForm):
    """Since when a piece is bad; `version` is the one that whoever sends it was looking at."""

    bad_since = Day(
        label="Bad since",
        required=False,
        help_text="The last day on which it was known to be good, if nobody knows better. "
        "Empty: it is good again.",
    )
    version = forms.IntegerField(widget=forms.HiddenInput, min_value=1)


@page("equipment")
def equipment_list(request: HttpRequest) -> HttpResponse:
    """Every piece, what is bad, overdue and due first."""
    today = sites.day(timezone.now())
    found = reads.standings(sites.present(), today)
    context = {
        "rows": [(one, WORDS[one.word]) for one in found],
        "bad": sum(one.word == "bad" for one in found),
        "overdue": sum(one.word == "overdue" for one in found),
        "due_soon": sum(one.word == "due_soon" for one in found),
    }
    return render(request, "packs/equipment/list.html", context)


@page("equipment")
def equipment_one(request: HttpRequest, code: str) -> HttpResponse:
    """One piece and what it touched, the newest first; `?after=` goes on."""
    row = _named(code)
    kinds = [kind for kind in touched.SOURCES if kind in history.kinds_for(roles(request))]
    edge = _edge(request.GET.get("after"))
    found = touched.page(row, Asked(kinds=kinds, size=SHOWN, edge=edge))
    last = found.touches[-1] if found.after and found.touches else None
    context = {
        "tool": row,
        "standing": reads.standing(row, sites.present(), sites.day(timezone.now())),
        "touches": [_told(touch) for touch in found.touches],
        "older": None if last is None else _written(last.place),
        "newer": found.before,
        "may_write": may(roles(request), "equipment", write=True),
    }
    return render(request, "packs/equipment/one.html", context)


@form("equipment")
def equipment_bad(request: HttpRequest, code: str) -> HttpResponseBase:
    """Mark a piece as bad since a day, or as good again."""
    row = _named(code)
    first = {"bad_since": row.bad_since or row.checked_on, "version": row.version}
    filled = BadForm(request.POST or None, initial=first)
    if request.method == "POST" and filled.is_valid() and _marked(request, row, filled):
        bad = filled.cleaned_data["bad_since"] is not None
        messages.success(request, f"{row.code} is marked as {'bad' if bad else 'good again'}.")
        return redirect("equipment-one", code=row.code)
    return render(request, "packs/equipment/bad.html", {"form": filled, "tool": row})


def _named(code: str) -> Equipment:
    return names.keyed(Equipment.objects.all(), code=code)


def _marked(request: HttpRequest, row: Equipment, filled: BadForm) -> bool:
    said = filled.cleaned_data
    change = partial(
        writes.change_equipment,
        row,
        by=actor(request),
        at=timezone.now(),
        version=said["version"],
        changes={"bad_since": said["bad_since"]},
    )
    try:
        change()
    except DomainError as error:
        filled.refuse(error)
        return False
    return True


def _told(touch: Touch) -> dict[str, Any]:
    fact = touch.fact
    return {
        "at": touch.at,
        "what": touch.kind.replace("_", " "),
        "pack": fact.pack.serial if fact.pack is not None else None,
        "module": getattr(fact, "module", None),
        "voided": fact.voided_at is not None,
        "key": encode(fact.PREFIX, fact.pk),
    }


def _written(place: Place) -> str:
    number = encode(Equipment.PREFIX, place.number)
    return f"{place.at.isoformat()}/{place.rank}/{number}"


def _edge(said: str | None) -> Place | None:
    """The record that a link to older ones goes on from."""
    if not said:
        return None
    try:
        instant, rank, number = said.split("/")
        at, key = datetime.fromisoformat(instant), decode(Equipment.PREFIX, number)
        place = None if key is None or at.tzinfo is None else Place(at, int(rank), key)
    except ValueError as error:
        raise Http404("There is no such page.") from error
    if place is None:
        raise Http404("There is no such page.")
    return place
