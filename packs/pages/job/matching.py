"""Modules chosen from stock for a job: proposed with why, overruled with a reason, reserved."""

import re
from functools import partial
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.shortcuts import redirect
from django.utils import timezone

from packs.models import Matching, Visit
from packs.pages.doors import actor, form
from packs.pages.forms import stored
from packs.pages.job import frame
from packs.pages.job.doers import BenchForm, sent_before
from packs.rules.identity import encode
from packs.writes import matchings

SMALL_GAP = 0.001  # below a tenth of a percent the gap is told as such


class Positions(forms.CharField):
    """Positions with commas or spaces between; none means all."""

    def clean(self, value: Any) -> Any:
        parts = re.split(r"[\s,;]+", super().clean(value) or "")
        told = [part for part in parts if part]
        if not all(part.isdecimal() and len(part) < 6 for part in told):
            raise forms.ValidationError("Write positions such as 7, 8.")
        return [int(part) for part in told]


class MatchForm(BenchForm):
    """What is to be matched."""

    positions = Positions(
        label="Positions", required=False, max_length=2000, help_text="Such as 7, 8. Empty: all."
    )
    keep_unmeasured = forms.BooleanField(
        label="Take modules without a test of a kind too", required=False
    )
    reserve = forms.BooleanField(
        label="Reserve them for this visit",
        required=False,
        help_text="Nobody else is offered them.",
    )


class OverruleForm(BenchForm):
    """A position filled otherwise, and why."""

    position = forms.IntegerField(label="Position", min_value=1)
    module = forms.CharField(
        label="Module",
        max_length=40,
        help_text="Scan its tag. One placed elsewhere changes places.",
    )
    reason = forms.CharField(label="Why", max_length=500)


@form("matchings")
def match(request: HttpRequest, key: str) -> HttpResponseBase:
    """The newest matching of the visit; a new one, or one position otherwise."""
    visit = frame.visit_of(key)
    newest = _newest(visit)
    overrules = request.POST.get("step") == "overrule"
    first = {"positions": request.GET.get("positions", "")}
    asking = MatchForm(None if overrules else request.POST or None, initial=first)
    overruling = OverruleForm(request.POST if overrules else None, auto_id="over_%s")
    sent = overruling if overrules else asking
    if request.method == "POST" and sent.is_valid() and _taken(request, visit, sent, newest):
        messages.success(request, "The matching is stored.")
        return redirect("job-matching", key=key)
    context = {"form": asking, "overruling": overruling, "row": newest, **_told(newest)}
    return frame.shown(request, visit, "matching", "packs/job/matching.html", context)


def _newest(visit: Visit) -> Matching | None:
    rows = Matching.objects.filter(visit=visit, voided_at__isnull=True)
    return rows.select_related("done_by").order_by("-happened_at", "-pk").first()


def _told(row: Matching | None) -> dict[str, Any]:
    """The placing block by block, and how sure it is to be the best."""
    if row is None:
        return {}
    reasons = {one["position"]: one for one in row.overruled}
    taken = [
        {**place, "overruled": reasons.get(place["position"])} for place in row.proposed["taken"]
    ]
    gap, total = row.proposed["gap"], row.proposed["total"]
    return {
        "taken": taken,
        "gap": "" if gap < SMALL_GAP else f"{100 * gap:.1f}",
        "dearer": row.proposed["total_taken"] - total if row.overruled else None,
        "left_out": row.proposed["left_out"],
    }


def _taken(request: HttpRequest, visit: Visit, sent: BenchForm, newest: Matching | None) -> bool:
    by, at = actor(request), timezone.now()
    if sent_before(Matching, sent, by):
        return True
    assert visit.pack is not None
    said = sent.entry()
    entry: dict[str, Any] = {
        "pack": visit.pack.serial,
        "visit": frame.key_of(visit),
        "external_id": sent.external_id,
        **{name: said[name] for name in ("done_by", "at") if name in said},
    }
    if newest is not None:
        entry["supersedes"] = encode(Matching.PREFIX, newest.pk)
    if isinstance(sent, OverruleForm):
        entry |= _overruled(said, newest)
    else:
        cleaned = sent.cleaned_data
        entry |= {name: cleaned[name] for name in ("keep_unmeasured", "reserve")}
        entry["positions"] = cleaned["positions"] or None
    return stored(sent, partial(matchings.record_matching, by=by, at=at, entry=entry)) is not None


def _overruled(said: dict[str, Any], newest: Matching | None) -> dict[str, Any]:
    """What was asked before, with one position more that is filled otherwise."""
    row = {name: said[name] for name in ("position", "module", "reason")}
    if newest is None:
        return {"overruled": [row]}
    before = [
        {name: one[name] for name in ("position", "module", "reason")}
        for one in newest.overruled
        if one["position"] != row["position"] and one["module"] != row["module"]
    ]
    kept = {name: newest.asked[name] for name in ("positions", "candidates", "form", "generation")}
    flags = {name: newest.asked[name] for name in ("keep_unmeasured", "reserve")}
    return {**kept, **flags, "overruled": [*before, row]}
