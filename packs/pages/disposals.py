"""Noting what went to a recycler, by scanning the tags."""

import re
from functools import partial
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone

from packs.errors import DomainError, Fault
from packs.models import Disposal
from packs.pages.doors import actor, form
from packs.pages.forms import EntryForm, Moment, stored
from packs.pages.job.doers import Figure
from packs.pages.origins import deciders
from packs.writes import disposals

LAST = 10  # that are shown beside the form
BETWEEN = re.compile(r"[\r\n,;\t]+")  # a scanner ends each tag with Enter or Tab


class Tags(forms.CharField):
    """Tags, one a line."""

    def __init__(self, **said: Any) -> None:
        super().__init__(required=False, widget=forms.Textarea(attrs={"rows": 6}), **said)

    def clean(self, value: Any) -> Any:
        said = super().clean(value)
        return [tag.strip() for tag in BETWEEN.split(said) if tag.strip()]


class DisposalForm(EntryForm):
    """What leaves, with whom, and how heavy it is."""

    recycler = forms.CharField(label="Recycler", max_length=100)
    reference = forms.CharField(
        label="Their reference",
        max_length=100,
        required=False,
        help_text="The number of the consignment note.",
    )
    weight_kg = Figure(label="Weight", unit="kg")
    modules = Tags(label="Modules", help_text="Scan the tags, one a line.")
    components = Tags(label="Other parts", help_text="Likewise.")
    note = forms.CharField(
        label="Note", max_length=1000, required=False, widget=forms.Textarea(attrs={"rows": 2})
    )
    done_by = forms.ChoiceField(label="Handed over by", choices=deciders)
    at = Moment(required=False, label="When", help_text="Empty: now.")

    def refuse(self, error: DomainError) -> None:
        """What is wrong with one tag stands at the box that it was scanned into."""
        told = [
            Fault(re.sub(r"/\d+\Z", "", one.pointer), one.code, one.detail) for one in error.faults
        ]
        super().refuse(type(error)(told))


@form("disposals")
def disposal_new(request: HttpRequest) -> HttpResponseBase:
    """Note what left the shop for good."""
    filled = DisposalForm(request.POST or None)
    if request.method == "POST" and filled.is_valid():
        entry = {**filled.entry(), "external_id": filled.external_id}
        write = partial(
            disposals.record_disposal, by=actor(request), at=timezone.now(), entry=entry
        )
        if stored(filled, write) is not None:
            messages.success(request, "It is noted; what left is scrapped.")
            return redirect("disposal-new")
    rows = Disposal.objects.filter(voided_at__isnull=True).order_by("-happened_at", "-pk")
    last = rows.prefetch_related("lines__module", "lines__component")[:LAST]
    context = {"form": filled, "rows": last}
    status = 422 if filled.errors else 200
    return render(request, "packs/stock/disposal.html", context, status=status)
