"""Putting the switch back in: what must be true before, and who says so."""

from functools import partial

from django import forms
from django.contrib import messages
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.shortcuts import redirect
from django.utils import timezone

from packs.models import ReEnergising, Visit
from packs.pages.doors import actor, form
from packs.pages.forms import stored
from packs.pages.job import frame
from packs.pages.job.doers import BenchForm
from packs.pages.job.tools import Bystander
from packs.reads import lock_outs, openings
from packs.writes import re_energisings

NOTE_MAX = 1000


def _tick(label: str) -> forms.BooleanField:
    """A confirmation; one that is missing is told by the register, with what to do."""
    return forms.BooleanField(label=label, required=False)


class ReEnergiseForm(BenchForm):
    """What is confirmed before the switch goes in."""

    second_person = Bystander(nobody="Nobody", label="Second person standing by", required=False)
    done__tools_out = _tick("Every tool and rag is out of the pack")
    done__tools_counted = _tick("Tools counted against what was laid out")
    done__covers_on = _tick("Covers are on")
    done__everybody_clear = _tick("Everybody is clear of car and pack")
    note = forms.CharField(label="Note", required=False, max_length=NOTE_MAX)


@form("re-energisings")
def re_energise(request: HttpRequest, key: str) -> HttpResponseBase:
    """What still stands in the way, else the form; or the re-energising that was recorded."""
    visit = frame.visit_of(key)
    filled = ReEnergiseForm(request.POST or None)
    if request.method == "POST" and filled.is_valid():
        entry = {**filled.entry(), "visit": key, "external_id": filled.external_id}
        write = partial(
            re_energisings.record_re_energising,
            by=actor(request),
            at=timezone.now(),
            entry=entry,
        )
        row = stored(filled, write)
        if row is not None:
            for told in row.done.get("warnings", ()):
                messages.warning(request, told)
            messages.success(request, "Re-energised. To open the pack again needs a new lock-out.")
            return redirect("job", key=key)
    opening = openings.state(visit)
    standing = lock_outs.standing(visit)
    context = {
        "form": filled,
        "row": standing,
        "ended": None if standing else _last(visit),
        "wants": (*opening.out_said, *opening.unready),
        "side": lock_outs.pieces(visit),
    }
    status = 422 if filled.errors else 200
    return frame.shown(
        request, visit, "re-energise", "packs/job/re_energise.html", context, status=status
    )


def _last(visit: Visit) -> ReEnergising | None:
    rows = ReEnergising.objects.filter(visit=visit, voided_at__isnull=True)
    return rows.select_related("done_by", "second_person").order_by("-happened_at", "-pk").first()
