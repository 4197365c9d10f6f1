"""Voltages taken by hand on a job, as found and after the work, and which part they point at."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
from django import forms
from django.contrib import messages
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.shortcuts import redirect
from django.utils import timezone

from packs.models import PackType, Visit, VoltageCheck
from packs.pages.doors import actor, form
from packs.pages.forms import BELOW, Km, stored
from packs.pages.job import frame
from packs.pages.job.doers import BenchForm, Degrees, Figure, sent_before
from packs.reads import comparing, jobs
from packs.rules.arithmetic import position_count
from packs.rules.diagnosis import Finding
from packs.rules.voltages import to_volts
from packs.writes import checks

CONDITIONS = {
    VoltageCheck.Condition.REST.value: "At rest",
    VoltageCheck.Condition.LOAD.value: "Under a steady load",
    VoltageCheck.Condition.CHARGE.value: "While it charges",
}
LEVELS = {
    VoltageCheck.Level.BLOCK.value: "by blocks, as the car reads them",
    VoltageCheck.Level.MODULE.value: "by modules",
    VoltageCheck.Level.CELL.value: "by cells",
}


class CheckForm(BenchForm):
    """One set of voltages: a box a position, empty where it could not be read."""

    told_at = "/taken_at"

    current_a = Figure(label="Current", unit="A", help_text="Out of the pack is positive.")
    temperature_c = Degrees(label="Temperature of the pack", required=False)
    rested_min = Figure(label="Rested for", unit="min", required=False)
    condition_s = Figure(label="Load held for", unit="s", required=False)
    odometer_km = Km(label="Odometer", required=False)
    equipment = forms.CharField(label="Meter, by its code", max_length=40, required=False)

    def __init__(self, pack_type: PackType, asked: Mapping[str, str], *args: Any) -> None:
        super().__init__(*args)
        self.asked = asked
        self.fields.pop("rested_min" if asked["condition"] != "rest" else "condition_s")
        if asked["condition"] == "rest":
            self.fields["current_a"].initial = 0
        count = positions(pack_type, asked["level"])
        for place in range(count):
            self.fields[f"voltages_v{BELOW}{place}"] = Figure(
                label=str(place + 1), unit="V", required=False
            )
        self.order_fields([name for name in self.fields if name != "at"] + ["at"])

    def voltages(self) -> Iterator[forms.BoundField]:
        """The boxes of the positions, in order."""
        return (self[name] for name in self.fields if name.startswith("voltages_v"))

    def others(self) -> Iterator[forms.BoundField]:
        """The fields beside them that are seen."""
        return (one for one in self.visible_fields() if not one.name.startswith("voltages_v"))

    def entry(self, below: str = "") -> dict[str, Any]:
        entry = super().entry(below)
        entry.pop("voltages_v", None)
        entry["voltages_v"] = [
            value for name, value in self.cleaned_data.items() if name.startswith("voltages_v")
        ]
        taken_at = entry.pop("at", None)
        return {**entry, **self.asked, "taken_at": taken_at, "order": "position"}


def positions(pack_type: PackType, level: str) -> int:
    """How many voltages a check of the type has at that level."""
    return position_count(
        level,
        block_sizes=pack_type.blocks,
        module_count=pack_type.module_count,
        cells_per_module=pack_type.cells_per_module,
    )


@dataclass(frozen=True)
class Told:
    """A check of the job in words: its voltages against the middle, and what they point at."""

    row: VoltageCheck
    spread: str
    at_reference: str
    readings: tuple[tuple[int, str, str], ...]
    findings: tuple[Finding, ...]


@form("voltage-checks")
def as_found(request: HttpRequest, key: str) -> HttpResponseBase:
    """Checks before anything is switched off."""
    return _checks(request, key, "checks")


@form("voltage-checks")
def after(request: HttpRequest, key: str) -> HttpResponseBase:
    """Checks after the work, with the road test."""
    return _checks(request, key, "after")


def _checks(request: HttpRequest, key: str, step: str) -> HttpResponseBase:
    visit = frame.visit_of(key)
    assert visit.pack is not None
    asked = _asked(request, visit)
    filled = CheckForm(visit.pack.pack_type, asked, request.POST or None)
    if request.method == "POST" and filled.is_valid() and _taken(request, visit, filled):
        messages.success(request, f"{CONDITIONS[asked['condition']]}: the check is stored.")
        return redirect(f"job-{step}", key=key)
    context = {
        "form": filled,
        "asked": asked,
        "conditions": CONDITIONS,
        "levels": LEVELS,
        "condition_words": CONDITIONS[asked["condition"]],
        "told": told(visit),
        "after": step == "after",
    }
    return frame.shown(request, visit, step, "packs/job/checks.html", context)


def _asked(request: HttpRequest, visit: Visit) -> dict[str, str]:
    """Which condition and level the form is for; the level of the pack's last check at first."""
    said = request.GET.dict()
    rows = VoltageCheck.objects.filter(pack=visit.pack_id, voided_at__isnull=True)
    last = rows.order_by("-taken_at", "-pk").values_list("level", flat=True).first()
    condition = said.get("condition", VoltageCheck.Condition.REST.value)
    level = said.get("level", last)
    return {
        "condition": condition if condition in CONDITIONS else VoltageCheck.Condition.REST.value,
        "level": level if level in LEVELS else VoltageCheck.Level.BLOCK.value,
    }


def _taken(request: HttpRequest, visit: Visit, filled: CheckForm) -> bool:
    assert visit.pack is not None
    by, at = actor(request), timezone.now()
    if sent_before(VoltageCheck, filled, by):
        return True
    entry = filled.entry()
    entry = {
        **entry,
        "taken_at": entry["taken_at"] or at,
        "pack": visit.pack.serial,
        "visit": frame.key_of(visit),
        "external_id": filled.external_id,
    }
    return stored(filled, partial(checks.record, by=by, at=at, entry=entry)) is not None


def told(visit: Visit) -> list[Told]:
    """The checks of the visit, the newest first, with what each points at."""
    rows = jobs.checks_of(visit)
    for row in rows:
        row.pack = visit.pack
    derived = comparing.derive(rows)
    return [_told(row, derived[row.pk]) for row in reversed(rows)]


def _told(row: VoltageCheck, derived: comparing.Derived) -> Told:
    volts = to_volts(row.voltages)
    middle = float(np.nanmedian(volts))
    readings = tuple(
        (place, "not read" if np.isnan(one) else f"{one:.2f}", _off(float(one - middle)))
        for place, one in enumerate(volts, start=1)
    )
    brought = derived.spread_v
    return Told(
        row=row,
        spread=f"{row.spread_v:.2f} V",
        at_reference="" if brought is None else f"{brought:.2f} V",
        readings=readings,
        findings=derived.findings,
    )


def _off(deviation_v: float) -> str:
    return "" if np.isnan(deviation_v) else f"{deviation_v:+.2f}".replace("-", "−")
