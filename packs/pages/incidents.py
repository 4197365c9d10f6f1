"""Noting an incident or a near miss, on a visit or on none."""

from functools import partial

from django import forms
from django.contrib import messages
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone

from packs.models import Incident
from packs.pages.doors import actor, form
from packs.pages.forms import EntryForm, Moment, stored
from packs.reads import visits
from packs.writes import incidents

LAST = 10  # of what happened before, shown beside the form
KINDS = [
    (Incident.Kinds.NEAR_MISS.value, "A near miss: it went well, just"),
    (Incident.Kinds.INCIDENT.value, "An incident: somebody was hurt, or something broke"),
]
HARM = [
    (Incident.Harm.NONE.value, "None"),
    (Incident.Harm.DAMAGE.value, "Something is damaged"),
    (Incident.Harm.FIRST_AID.value, "First aid was given"),
    (Incident.Harm.MEDICAL.value, "Somebody needed a doctor"),
]


class IncidentForm(EntryForm):
    """What happened."""

    kind = forms.ChoiceField(label="What was it", choices=KINDS, widget=forms.RadioSelect)
    harm = forms.ChoiceField(label="Harm", choices=HARM, widget=forms.RadioSelect)
    what = forms.CharField(
        label="What happened",
        max_length=5000,
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text="What was done, what went wrong, with which tool. No names.",
    )
    action = forms.CharField(
        label="What was done about it",
        required=False,
        max_length=5000,
        widget=forms.Textarea(attrs={"rows": 3}),
    )
    at = Moment(label="When", required=False, help_text="Empty: now.")


@form("incidents")
def incident_new(request: HttpRequest) -> HttpResponseBase:
    """Note what happened; the visit may come with the link."""
    key = request.GET.get("visit", "")
    visit = visits.addressed(key) if key else None
    filled = IncidentForm(request.POST or None)
    if request.method == "POST" and filled.is_valid():
        entry = {**filled.entry(), "visit": key or None, "external_id": filled.external_id}
        write = partial(
            incidents.record_incident, by=actor(request), at=timezone.now(), entry=entry
        )
        if stored(filled, write) is not None:
            messages.success(request, "It is noted.")
            return redirect("visit", key=key) if key else redirect("incident-new")
    rows = Incident.objects.filter(voided_at__isnull=True).order_by("-happened_at", "-pk")
    context = {
        "form": filled,
        "key": key,
        "name": visits.name_of(visit) if visit else "",
        "rows": rows[:LAST],
    }
    status = 422 if filled.errors else 200
    return render(request, "packs/incidents/new.html", context, status=status)
