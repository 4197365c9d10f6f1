"""Noting that the owner of a pack was called, or that somebody tried."""

from functools import partial
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone

from packs.models import Call, Pack
from packs.pages.doors import actor, form, roles
from packs.pages.forms import Day, EntryForm, stored
from packs.reads import names
from packs.reads.owners import owner_of
from packs.reads.roles import may
from packs.writes import calls

REASONS = [
    (Call.Reason.OUTLOOK, "How the pack is doing"),
    (Call.Reason.OWNER_WORD, "The owner’s word on work or cost"),
    (Call.Reason.READY, "The car is ready"),
    (Call.Reason.CORE, "A core that is owed"),
    (Call.Reason.RECHECK, "A re-check that is due"),
    (Call.Reason.OTHER, "Something else"),
]
OUTCOMES = [
    (Call.Outcome.REACHED, "Reached"),
    (Call.Outcome.BOOKED, "Reached, and a visit booked"),
    (Call.Outcome.NOT_REACHED, "Not reached"),
]


class CallForm(EntryForm):
    """A call, made or tried."""

    pack = forms.CharField(label="Serial of the pack", max_length=40)
    reason = forms.ChoiceField(label="About", choices=REASONS)
    outcome = forms.ChoiceField(label="Outcome", choices=OUTCOMES, widget=forms.RadioSelect)
    again_on = Day(
        label="Call again on", required=False, help_text="Until then it is off today’s list."
    )
    note = forms.CharField(
        label="What was said", required=False, widget=forms.Textarea(attrs={"rows": 3})
    )


@form("calls")
def call_new(request: HttpRequest) -> HttpResponseBase:
    """Note a call; the pack and the reason may come with the link."""
    asked = {name: request.GET.get(name, "") for name in ("pack", "reason")}
    filled = CallForm(request.POST or None, initial=asked)
    if request.method == "POST" and filled.is_valid() and _noted(request, filled):
        messages.success(request, "The call is noted.")
        return redirect("today" if may(roles(request), "visits", write=False) else "home")
    pack = names.packs().filter(serial__upper=asked["pack"].upper()).first()
    return render(request, "packs/calls/new.html", {"form": filled, **_owner(request, pack)})


def _noted(request: HttpRequest, filled: CallForm) -> bool:
    entry = {**filled.entry(), "external_id": filled.external_id}
    if request.GET.get("visit"):
        entry["visit"] = request.GET["visit"]
    write = partial(calls.record_call, by=actor(request), at=timezone.now(), entry=entry)
    return stored(filled, write) is not None


def _owner(request: HttpRequest, pack: Pack | None) -> dict[str, Any]:
    """Whom to call, for those who may know."""
    if pack is None or not may(roles(request), "customers", write=False):
        return {"pack": pack}
    return {"pack": pack, "owner": owner_of(pack)}
