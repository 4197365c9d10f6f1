"""A look at the pack: each thing to look at in its order, graded, the cooling first."""

from collections.abc import Iterator
from functools import partial
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.shortcuts import redirect
from django.utils import timezone

from packs.models import Finding, Inspection
from packs.pages.doors import actor, form
from packs.pages.forms import stored
from packs.pages.job import frame
from packs.pages.job.doers import BenchForm, sent_before
from packs.writes import inspections

KINDS = Finding.Kinds
LOOKS = (
    (KINDS.BLOCKED_FILTER, "Cooling filter and duct", "cooling filter"),
    (KINDS.FAN_FAULT, "Cooling fan", "cooling fan"),
    (KINDS.RESIDUE, "Residue, dried electrolyte", "module"),
    (KINDS.SWELLING, "Swelling", "module"),
    (KINDS.VENTING, "Venting", "module"),
    (KINDS.CORROSION, "Corrosion", "bus bar"),
    (KINDS.HEAT_MARKS, "Heat marks", "terminal"),
    (KINDS.DAMAGED_LEAD, "Sense leads", "sense harness"),
    (KINDS.LOOSE_JOINT, "Loose joints", "bus bar"),
    (KINDS.WATER, "Water", "case"),
    (KINDS.OTHER, "Something else", "pack"),
)
GRADES = (
    ("", "not looked at"),
    ("0", "0, good"),
    ("1", "1, to be watched"),
    ("2", "2, to be done"),
    ("3", "3, at once"),
)


class LookForm(BenchForm):
    """A grade for each thing looked at; what was not looked at is not said."""

    def __init__(self, module_count: int, *args: Any) -> None:
        super().__init__(*args)
        for kind, label, _ in LOOKS:
            self.fields[f"{kind}_grade"] = forms.ChoiceField(
                label=label, choices=GRADES, required=False
            )
            self.fields[f"{kind}_position"] = forms.IntegerField(
                label="position", required=False, min_value=1, max_value=module_count
            )
            self.fields[f"{kind}_note"] = forms.CharField(
                label="note", required=False, max_length=200
            )
        self.fields["action"] = forms.CharField(
            label="What was done about it", required=False, max_length=1000
        )
        self.order_fields([name for name in self.fields if name != "at"] + ["at"])

    def looks(self) -> Iterator[tuple[forms.BoundField, forms.BoundField, forms.BoundField]]:
        """The three boxes of each thing, in the order of looking."""
        for kind, _, _ in LOOKS:
            yield self[f"{kind}_grade"], self[f"{kind}_position"], self[f"{kind}_note"]

    def clean(self) -> dict[str, Any]:
        said = super().clean() or {}
        if not any(said.get(f"{kind}_grade") for kind, _, _ in LOOKS):
            raise forms.ValidationError("Grade at least one thing; 0 says that it is good.")
        return said

    def findings(self) -> list[dict[str, Any]]:
        """What was graded, as the register takes it."""
        said = self.cleaned_data
        return [
            {
                "part": part,
                "finding": str(kind),
                "grade": int(said[f"{kind}_grade"]),
                "position": said.get(f"{kind}_position"),
                "note": said.get(f"{kind}_note") or "",
            }
            for kind, _, part in LOOKS
            if said[f"{kind}_grade"]
        ]


@form("inspections")
def inspection(request: HttpRequest, key: str) -> HttpResponseBase:
    """What was found so far on the visit, and another look."""
    visit = frame.visit_of(key)
    assert visit.pack is not None
    filled = LookForm(visit.pack.pack_type.module_count, request.POST or None)
    if request.method == "POST" and filled.is_valid():
        by, at = actor(request), timezone.now()
        said = filled.entry()
        entry = {
            "pack": visit.pack.serial,
            "visit": key,
            "at": said.get("at") or at,
            "done_by": said["done_by"],
            "findings": filled.findings(),
            "action": said.get("action") or "",
            "external_id": filled.external_id,
        }
        write = partial(inspections.record_inspection, by=by, at=at, entry=entry)
        if sent_before(Inspection, filled, by) or stored(filled, write) is not None:
            messages.success(request, "The inspection is stored.")
            return redirect("job-inspection", key=key)
    rows = Inspection.objects.filter(visit=visit, voided_at__isnull=True)
    found = rows.prefetch_related("findings").select_related("done_by").order_by("-happened_at")
    context = {"form": filled, "found": found}
    return frame.shown(request, visit, "inspection", "packs/job/inspection.html", context)
