"""Locking a pack out before it is opened: the gates in the order of the work."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.shortcuts import redirect
from django.utils import timezone

from packs.models import Equipment, LockOut, Visit
from packs.pages.doors import actor, form
from packs.pages.forms import stored
from packs.pages.job import frame
from packs.pages.job.doers import BenchForm, Figure
from packs.pages.job.tools import Bystander, Tool
from packs.reads import lock_outs as reads
from packs.reads import sites
from packs.rules import lock_outs as rules
from packs.rules.gloves import class_for
from packs.writes import gates, lock_outs

NOTE_MAX = 1000


def _tick(label: str, hint: str = "") -> forms.BooleanField:
    """A confirmation; one that is missing is told by the register, with what to do."""
    return forms.BooleanField(label=label, help_text=hint, required=False)


@dataclass(frozen=True)
class Part:
    """A group of fields: what is done now."""

    title: str
    fields: tuple[forms.BoundField, ...]


class LockOutForm(BenchForm):
    """All that a lock-out proves, in the order of the work."""

    worn__eye_protection = _tick("Eye protection on")
    gloves = Tool(kind=Equipment.Kinds.GLOVES, label="Gloves, by their code")
    worn__gloves_air_tested = _tick("Both gloves tested by air today")
    worn__protectors = _tick("Leather protectors over the gloves")
    worn__insulated_tools = _tick("Insulated tools laid out, and no others")
    second_person = Bystander(nobody="Nobody", label="Second person standing by", required=False)
    done__key_away = _tick("Key away from the car")
    done__twelve_v_off = _tick("12 V battery disconnected")
    done__switch_out = _tick("Service switch out")
    switch_kept_by = Bystander(nobody="Who has it?", label="The switch is kept on the person of")
    waited_min = Figure(unit="min", label="Waited after the switch was out", min_value=0)
    meter = Tool(kind=Equipment.Kinds.METER, label="Meter, by its code")
    source_v = Figure(
        unit="V", label="The known source has", min_value=0, help_text="Such as a 12 V battery."
    )
    source_before_v = Figure(unit="V", label="The meter reads on it, before")
    readings__plus_minus_v = Figure(unit="V", label="Car side, plus to minus")
    readings__plus_case_v = Figure(unit="V", label="Car side, plus to case")
    readings__minus_case_v = Figure(unit="V", label="Car side, minus to case")
    source_after_v = Figure(unit="V", label="The meter reads on the known source, after")
    done__covers = _tick("Covers over what stays live beside the work")
    note = forms.CharField(label="Note", required=False, max_length=NOTE_MAX)

    def parts(self) -> Iterator[Part]:
        """The fields in the order in which the work goes."""
        for title, names in PARTS:
            yield Part(title, tuple(self[name] for name in names))


PARTS = (
    (
        "Before anything is touched",
        (
            "done_by", "second_person", "worn__eye_protection", "gloves",
            "worn__gloves_air_tested", "worn__protectors", "worn__insulated_tools",
        ),
    ),
    (
        "Take the car off",
        (
            "done__key_away", "done__twelve_v_off", "done__switch_out", "switch_kept_by",
            "waited_min",
        ),
    ),
    (
        "Measure the car side",
        (
            "meter", "source_v", "source_before_v", "readings__plus_minus_v",
            "readings__plus_case_v", "readings__minus_case_v", "source_after_v",
        ),
    ),
    ("Then", ("done__covers", "note", "at")),
)  # fmt: skip


@form("lock-outs")
def lock_out(request: HttpRequest, key: str) -> HttpResponseBase:
    """The lock-out that stands, or the one to record."""
    visit = frame.visit_of(key)
    filled = LockOutForm(request.POST or None)
    if request.method == "POST" and filled.is_valid():
        entry = {**filled.entry(), "visit": key, "external_id": filled.external_id}
        write = partial(
            lock_outs.record_lock_out, by=actor(request), at=timezone.now(), entry=entry
        )
        row = stored(filled, write)
        if row is not None:
            messages.success(request, "The lock-out is stored. The pack side stays live.")
            return redirect("job-lock-out", key=key)
    status = 422 if filled.errors else 200
    context = {"form": filled, **_standing(visit)}
    return frame.shown(
        request, visit, "lock-out", "packs/job/lock_out.html", context, status=status
    )


def _standing(visit: Visit) -> dict[str, Any]:
    """What the page says beside the form: what is dead, and what is live."""
    row = reads.standing(visit)
    side = reads.pieces_with_switch_out(visit) if row is None else reads.pieces(visit)
    assert visit.pack is not None
    kind = visit.pack.pack_type
    highest_v = reads.highest_v(kind)
    return {
        "row": row,
        "side": side,
        "highest_v": highest_v,
        "glove_class": class_for(highest_v),
        "touch_limit_v": (visit.site or sites.present()).touch_limit_v,
        "wait_min": kind.layout.waits.discharge_min,
        "second_asked": gates.asks_for_second(visit),
        "switch_known": kind.layout.switch_after is not None,
        "readings": _readings(row) if row else [],
        "findings": rules.findings(row.readings, row.waited_min) if row else (),
    }


def _readings(row: LockOut) -> list[tuple[str, float]]:
    return [(where, row.readings[name]) for name, where in rules.READINGS.items()]
