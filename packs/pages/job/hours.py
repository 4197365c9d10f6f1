"""Hours by stage, by start and stop."""

from functools import partial
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.shortcuts import redirect
from django.utils import timezone

from packs.models import Visit, WorkTime
from packs.pages.doors import actor, form
from packs.pages.forms import EntryForm, stored
from packs.pages.job import frame
from packs.pages.job.doers import BenchForm, sent_before
from packs.reads import names
from packs.reads import work_times as reads
from packs.writes import work_times


class StartForm(BenchForm):
    """Somebody begins a stage."""

    stage = forms.ChoiceField(label="Stage", choices=WorkTime.Stage.choices)
    note = forms.CharField(label="Note", required=False, max_length=1000)

    def entry(self, below: str = "") -> dict[str, Any]:
        entry = super().entry(below)
        return {**entry, "started_at": entry.pop("at", None)}


class StopForm(BenchForm):
    """A clock is stopped; whose it is was said when it began."""

    running = forms.CharField(widget=forms.HiddenInput, max_length=40)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, auto_id=False, **kwargs)
        del self.fields["done_by"], self.fields["at"]


@form("work-times")
def hours(request: HttpRequest, key: str) -> HttpResponseBase:
    """Clocks that run, the sums of the stages, and a clock to start."""
    visit = frame.visit_of(key)
    stops = "running" in request.POST
    start = StartForm(None if stops else request.POST or None)
    stop = StopForm(request.POST if stops else None)
    sent: EntryForm = stop if stops else start
    if request.method == "POST" and sent.is_valid():
        done = _stopped(request, stop) if stops else _started(request, start, key)
        if done:
            messages.success(request, "The clock is stopped." if stops else "The clock runs.")
            return redirect("job-hours", key=key)
    status = 422 if sent.errors else 200
    context = {"form": start, "stop": stop, **_shown(visit)}
    return frame.shown(request, visit, "", "packs/job/hours.html", context, status=status)


def _started(request: HttpRequest, filled: StartForm, key: str) -> bool:
    entry = {**filled.entry(), "visit": key, "external_id": filled.external_id}
    by, at = actor(request), timezone.now()
    return (
        stored(filled, partial(work_times.record_work_time, by=by, at=at, entry=entry)) is not None
    )


def _stopped(request: HttpRequest, filled: StopForm) -> bool:
    by, at = actor(request), timezone.now()
    if sent_before(WorkTime, filled, by):
        return True
    row = names.addressed(
        WorkTime.objects.select_related("done_by"), filled.cleaned_data["running"]
    )
    write = partial(
        work_times.stop,
        row,
        by=by,
        at=at,
        ended_at=filled.entry().get("at") or at,
        external_id=filled.external_id,
    )
    return stored(filled, write) is not None


def _shown(visit: Visit) -> dict[str, Any]:
    rows = list(reads.counted(visit.pk))
    running = [
        (row, StopForm(initial={"running": reads.key(row)})) for row in rows if not row.ended_at
    ]
    sums = reads.minutes_by_stage(visit.pk)
    stages = dict(WorkTime.Stage.choices)
    return {
        "running": running,
        "sums": [(stages[stage], _clock(minutes)) for stage, minutes in sums.items()],
        "total": _clock(sum(sums.values())),
        "times": [(row, _clock(reads.minutes(row) or 0.0)) for row in rows if row.ended_at],
    }


def _clock(minutes: float) -> str:
    """Minutes as hours and minutes."""
    whole = round(minutes)
    return f"{whole // 60} h {whole % 60:02} min"
