"""Parts on a job: what sits in each slot, how it tested, a test of it, and its change."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect
from django.utils import timezone

from packs.models import Component, PartTest, Swap, Visit
from packs.pages.cores import YesNo
from packs.pages.doors import actor, form, page
from packs.pages.forms import BELOW, stored
from packs.pages.job import frame
from packs.pages.job.doers import BenchForm, Figure, sent_before
from packs.reads import component_places, part_verdicts
from packs.reads.component_places import Sitting
from packs.reads.part_verdicts import Judged
from packs.rules.builds import begun_by_slots
from packs.rules.part_verdicts import MEASURED, TRUTHS
from packs.writes import part_tests, swaps

LABELS: Mapping[str, tuple[str, str]] = {
    "coil_ohm": ("Coil", "Ω"),
    "contact_mohm": ("Across the closed contacts", "mΩ"),
    "resistance_ohm": ("Resistance", "Ω"),
    "resistance_mohm": ("Resistance", "mΩ"),
    "energy_j": ("Energy on its plate", "J"),
    "rated_v": ("Volts d.c. on its plate", "V"),
    "rated_a": ("Amperes on its plate", "A"),
    "breaking_a": ("Breaks, by its plate", "A"),
    "offset_a": ("Shows with nothing flowing", "A"),
    "current_a": ("Draws", "A"),
    "shown_c": ("Shows", "°C"),
    "thermometer_c": ("Thermometer beside it", "°C"),
    "welded": ("Contacts welded?", ""),
    "interlock_ok": ("Interlock opens and closes?", ""),
    "leads_ok": ("Every lead has its way through?", ""),
    "runs": ("Runs?", ""),
}
WORDS = {"passes": "Passes", "fails": "Fails", "not_judged": "Not judged"}


@dataclass(frozen=True)
class Row:
    """A slot: the kind of part it takes, what sits there, and its newest test."""

    slot: str
    kind: str
    sits: Sitting | None
    component: Component | None
    test: PartTest | None
    judged: Judged | None

    @property
    def name(self) -> str:
        return self.slot.replace("_", " ").replace(":", " ")

    @property
    def word(self) -> str:
        return "" if self.judged is None else WORDS[self.judged.overall]


class TestForm(BenchForm):
    """What is measured of a kind of part; all of it may stay empty but one."""

    __test__ = False  # its name does not make it a test

    def __init__(self, kind: str, *args: Any) -> None:
        super().__init__(*args)
        for name in MEASURED[kind]:
            label, unit = LABELS[name]
            self.fields[f"measured{BELOW}{name}"] = (
                YesNo(label=label, required=False)
                if name in TRUTHS
                else Figure(label=label, unit=unit, required=False)
            )
        self.fields["equipment"] = forms.CharField(
            label="Meter, by its code", max_length=40, required=False
        )
        self.fields["note"] = forms.CharField(label="Note", max_length=1000, required=False)
        self.order_fields([name for name in self.fields if name != "at"] + ["at"])


class ChangeForm(BenchForm):
    """A part out, a part in, by their tags."""

    removed = forms.CharField(
        label="Tag of what came out",
        max_length=60,
        required=False,
        help_text="Empty: what is recorded there.",
    )
    fitted = forms.CharField(
        label="Tag of what went in", max_length=60, required=False, help_text="Scan it."
    )
    reason = forms.CharField(label="Why", max_length=200)


@page("part-tests")
def parts(request: HttpRequest, key: str) -> HttpResponse:
    """Every slot of the type, with what sits there and how it tested."""
    visit = frame.visit_of(key)
    rows = _rows(visit)
    context = {"rows": rows, "fails": sum(row.word == WORDS["fails"] for row in rows)}
    return frame.shown(request, visit, "parts", "packs/job/parts.html", context)


@form("part-tests")
def part_test(request: HttpRequest, key: str) -> HttpResponseBase:
    """A test of what sits in a slot."""
    visit, row = _asked(request, key)
    filled = TestForm(row.kind, request.POST or None)
    if request.method == "POST" and filled.is_valid() and _tested(request, visit, row, filled):
        messages.success(request, f"The test of {row.name} is stored.")
        return redirect("job-parts", key=key)
    context = {"form": filled, "row": row}
    return frame.shown(request, visit, "parts", "packs/job/part_test.html", context)


@form("swaps")
def part_swap(request: HttpRequest, key: str) -> HttpResponseBase:
    """A change of what sits in a slot."""
    visit, row = _asked(request, key)
    filled = ChangeForm(request.POST or None)
    if request.method == "POST" and filled.is_valid() and _changed(request, visit, row, filled):
        messages.success(request, f"The change of {row.name} is stored.")
        return redirect("job-parts", key=key)
    context = {"form": filled, "row": row, "starts": begun_by_slots([row.slot])}
    return frame.shown(request, visit, "parts", "packs/job/part_swap.html", context)


def _asked(request: HttpRequest, key: str) -> tuple[Visit, Row]:
    """The visit, and the slot named in the address."""
    visit, slot = frame.visit_of(key), request.GET.get("slot", "")
    if swaps.slot_fault(slot) is not None:
        raise Http404("There is no such slot.")
    known = next((row for row in _rows(visit) if row.slot == slot), None)
    return visit, known or Row(slot, component_places.kind_of(slot), None, None, None, None)


def _rows(visit: Visit) -> list[Row]:
    """The slots of the type, then others that a swap has named."""
    assert visit.pack is not None
    sits = component_places.in_pack(visit.pack)
    slots = {slot.slot: slot.kind for slot in visit.pack.pack_type.layout.slots}
    slots |= {slot: component_places.kind_of(slot) for slot in sits if slot not in slots}
    tags = [sitting.tag for sitting in sits.values()]
    components = {row.tag: row for row in Component.objects.filter(tag__in=tags)}
    tests = part_verdicts.newest_of(tags, list(slots), visit.pack.pk)
    judged = part_verdicts.judged(tests)
    return [
        _row(slot, kind, sits.get(slot), components, tests, judged) for slot, kind in slots.items()
    ]


def _row(
    slot: str,
    kind: str,
    sits: Sitting | None,
    components: Mapping[str, Component],
    tests: Sequence[PartTest],
    judged: Mapping[int, Judged],
) -> Row:
    component = None if sits is None else components.get(sits.tag)
    test = next((test for test in tests if _is_of(test, slot, sits, component)), None)
    found = None if test is None else judged[test.pk]
    return Row(slot, kind, sits, component, test, found)


def _is_of(test: PartTest, slot: str, sits: Sitting | None, component: Component | None) -> bool:
    """Whether a test is of what sits there now: by its tag, or by the slot since it was fitted."""
    if component is not None and test.component_id == component.pk:
        return True
    fitted_at = None if sits is None else sits.fitted_at
    since = fitted_at is None or test.happened_at >= fitted_at
    return test.component_id is None and test.slot == slot and since


def _tested(request: HttpRequest, visit: Visit, row: Row, filled: TestForm) -> bool:
    assert visit.pack is not None
    by, at = actor(request), timezone.now()
    if sent_before(PartTest, filled, by):
        return True
    entry = {
        "measured": {},
        **filled.entry(),
        "component": None if row.component is None else row.component.tag,
        "slot": row.slot,
        "pack": visit.pack.serial,
        "visit": frame.key_of(visit),
        "external_id": filled.external_id,
    }
    write = partial(part_tests.record_part_test, by=by, at=at, entry=entry)
    return stored(filled, write) is not None


def _changed(request: HttpRequest, visit: Visit, row: Row, filled: ChangeForm) -> bool:
    assert visit.pack is not None
    by, at = actor(request), timezone.now()
    if sent_before(Swap, filled, by):
        return True
    said = filled.entry()
    change = {
        "slot": row.slot,
        "removed": said.get("removed") or (row.sits.tag if row.sits is not None else None),
        "fitted": said.get("fitted"),
        "reason": said["reason"],
        "orientation": "normal",
    }
    entry = {
        "pack": visit.pack.serial,
        "visit": frame.key_of(visit),
        "done_at": said.get("at") or at,
        "kind": Swap.Kinds.COMPONENT.value,
        "changes": [change],
        "done_by": said["done_by"],
        "external_id": filled.external_id,
    }
    return stored(filled, partial(swaps.record_swap, by=by, at=at, entry=entry)) is not None
