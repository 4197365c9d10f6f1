"""Trouble codes read on a job, with what the car froze, and cleared when the work is done."""

from functools import partial
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.shortcuts import redirect
from django.utils import timezone

from packs.models import TroubleCode, Visit
from packs.pages.doors import actor, form
from packs.pages.forms import stored
from packs.pages.job import frame
from packs.pages.job.doers import BenchForm
from packs.rules.identity import encode
from packs.writes import trouble_codes

KEPT = ("code", "control_unit", "status", "failure_type", "freeze_frame")


class CodeForm(BenchForm):
    """One code as the scan tool shows it."""

    code = forms.CharField(label="Code", max_length=40, help_text="Such as P0A80 or P0A80-1F.")
    control_unit = forms.CharField(label="Control unit", max_length=100, required=False)
    status = forms.CharField(
        label="Status", max_length=100, required=False, help_text="Such as confirmed or pending."
    )
    frame = forms.CharField(
        label="Freeze frame",
        required=False,
        max_length=5000,
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text="One value a line: its name, a colon, its value.",
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        del self.fields["at"]

    def clean_frame(self) -> dict[str, str] | None:
        lines = [line for line in self.cleaned_data["frame"].splitlines() if line.strip()]
        pairs = [line.partition(":") for line in lines]
        if not all(colon and name.strip() for name, colon, _ in pairs):
            raise forms.ValidationError("Write a name, a colon and a value on each line.")
        return {name.strip(): value.strip() for name, _, value in pairs} or None

    def entry(self, below: str = "") -> dict[str, Any]:
        entry = super().entry(below)
        entry.pop("at", None)
        return {**entry, "freeze_frame": entry.pop("frame", None)}


class ClearForm(BenchForm):
    """The codes are cleared, now that the work is done."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        del self.fields["at"]


@form("trouble-codes")
def codes(request: HttpRequest, key: str) -> HttpResponseBase:
    """The codes of the visit, and one more."""
    visit = frame.visit_of(key)
    clearing = "clear" in request.POST
    filled = CodeForm(None if clearing else request.POST or None)
    clear = ClearForm(request.POST if clearing else None, auto_id="clear_%s")
    open_codes = [row for row in _rows(visit) if row.cleared_at is None]
    if request.method == "POST" and clearing and clear.is_valid():
        if _cleared(request, key, clear, open_codes):
            messages.success(request, "The codes are recorded as cleared.")
            return redirect("job-codes", key=key)
    elif request.method == "POST" and not clearing and filled.is_valid():
        entry = {**filled.entry(), "visit": key, "external_id": filled.external_id}
        write = partial(
            trouble_codes.record_trouble_code, by=actor(request), at=timezone.now(), entry=entry
        )
        row = stored(filled, write)
        if row is not None:
            messages.success(request, f"Code {row.code} is stored.")
            return redirect("job-codes", key=key)
    context = {"form": filled, "clear": clear, "codes": _rows(visit), "open": len(open_codes)}
    return frame.shown(request, visit, "codes", "packs/job/codes.html", context)


def _rows(visit: Visit) -> list[TroubleCode]:
    rows = TroubleCode.objects.filter(visit=visit, voided_at__isnull=True)
    return list(rows.order_by("control_unit", "code", "pk"))


def _cleared(
    request: HttpRequest, key: str, clear: ClearForm, open_codes: list[TroubleCode]
) -> bool:
    """Each open code told again as cleared, in place of the record before."""
    at = timezone.now()
    for row in open_codes:
        entry = {
            **{name: getattr(row, name) for name in KEPT},
            "visit": key,
            "done_by": clear.cleaned_data["done_by"],
            "cleared_at": at,
            "supersedes": encode(TroubleCode.PREFIX, row.pk),
            "external_id": f"{clear.external_id}:{row.pk}",
        }
        write = partial(trouble_codes.record_trouble_code, by=actor(request), at=at, entry=entry)
        if stored(clear, write) is None:
            return False
    return True
