"""The pack leaves the bench: what is missing, the road test, the promise, the re-check."""

from functools import partial
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.shortcuts import redirect
from django.utils import timezone

from packs.models import Release, Warranty
from packs.pages.doors import actor, form
from packs.pages.forms import Km, stored
from packs.pages.job import frame
from packs.pages.job.doers import BenchForm, Figure
from packs.reads import jobs, sites
from packs.writes import releases

NO_WARRANTY = ("", "None begins")


class ReleaseForm(BenchForm):
    """Who signs, how the road test went, and which promise begins."""

    road_test__distance_km = Figure(label="Road test: distance", unit="km", min_value=0)
    road_test__minutes = Figure(label="It took", unit="min", min_value=0, required=False)
    road_test__highest_current_a = Figure(
        label="Highest current logged", unit="A", help_text="Out of the pack is positive."
    )
    road_test__lowest_current_a = Figure(
        label="Lowest current logged", unit="A", required=False, help_text="Charging is negative."
    )
    road_test__note = forms.CharField(label="How it drove", max_length=500, required=False)
    odometer_km = Km(label="Odometer after the road test", required=False)
    codes_clear = forms.BooleanField(label="Codes are clear, and none came back")
    warranty__repair_kind = forms.ChoiceField(
        label="The warranty that begins now",
        choices=[NO_WARRANTY, *Warranty.RepairKind.choices],
        required=False,
    )
    over_limit_reason = forms.CharField(
        label="Spread over the limit: why it leaves all the same",
        max_length=1000,
        required=False,
        help_text="For a manager; leave it empty where every spread is within the limit.",
    )
    note = forms.CharField(label="Note", max_length=1000, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["done_by"].label = "Signed by"
        terms = ", ".join(
            f"{kind.replace('_', ' ')}: {said.get('months', 'no')} months"
            for kind, said in sites.present().rules.get("warranties", {}).items()
        )
        self.fields["warranty__repair_kind"].help_text = (
            f"In the shop’s own terms ({terms})." if terms else "The shop has set no terms yet."
        )


@form("releases")
def release(request: HttpRequest, key: str) -> HttpResponseBase:
    """What a release still wants, or the form that makes it."""
    visit = frame.visit_of(key)
    filled = ReleaseForm(request.POST or None)
    if request.method == "POST" and filled.is_valid():
        entry = {**filled.entry(), "visit": key, "external_id": filled.external_id}
        write = partial(releases.record_release, by=actor(request), at=timezone.now(), entry=entry)
        row = stored(filled, write)
        if row is not None:
            messages.success(request, "Released. The visit is ready, and the re-check is booked.")
            return redirect("job-release", key=key)
    context = {"form": filled, "release": jobs.last(Release, visit)}
    return frame.shown(request, visit, "release", "packs/job/release.html", context)
