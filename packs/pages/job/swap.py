"""Modules changed on a job: what came out of a position, and what went in."""

from collections.abc import Iterator, Mapping
from functools import partial
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.shortcuts import redirect
from django.utils import timezone

from packs.models import Placement, Swap, Visit
from packs.pages.doors import actor, form
from packs.pages.forms import stored
from packs.pages.job import frame
from packs.pages.job.doers import BenchForm, sent_before
from packs.writes import swaps

LAST = ("reason", "at")
ROWS = 6  # changes a page takes at once; more are further swaps


class SwapForm(BenchForm):
    """Up to six positions; a tag left empty on the way out is the one recorded there."""

    told_at = "/done_at"

    reason = forms.CharField(
        label="Why", max_length=200, help_text="Such as: capacity 4.1 Ah, mates 5.8 Ah."
    )

    def __init__(self, module_count: int, *args: Any) -> None:
        super().__init__(*args)
        for row in range(ROWS):
            self.fields[box(row, "position")] = forms.IntegerField(
                label="Position", required=False, min_value=1, max_value=module_count
            )
            self.fields[box(row, "removed")] = forms.CharField(
                label="Out", required=False, max_length=40
            )
            self.fields[box(row, "fitted")] = forms.CharField(
                label="In", required=False, max_length=40
            )
        self.order_fields([name for name in self.fields if name not in LAST] + list(LAST))

    def rows(self) -> Iterator[tuple[forms.BoundField, ...]]:
        """The three boxes of each change."""
        for row in range(ROWS):
            yield tuple(self[box(row, name)] for name in ("position", "removed", "fitted"))

    def clean(self) -> dict[str, Any]:
        said = super().clean() or {}
        if not any(said.get(box(row, "position")) for row in range(ROWS)):
            self.add_error(box(0, "position"), "Name the position that was changed.")
        for row in range(1, ROWS):
            tagged = said.get(box(row, "removed")) or said.get(box(row, "fitted"))
            if tagged and not said.get(box(row, "position")) and not self._wrong(row):
                self.add_error(box(row, "position"), "Which position?")
        return said

    def _wrong(self, row: int) -> bool:
        return box(row, "position") in self.errors

    def changes(self, sits: Mapping[int, str], lie: Mapping[int, str]) -> list[dict[str, Any]]:
        """The changes as the register takes them, by position: `sits` the tags recorded, `lie` the
        way round that the type asks for."""
        said = self.cleaned_data
        told = [
            [said[box(row, name)] for name in ("position", "removed", "fitted")]
            for row in range(ROWS)
            if said.get(box(row, "position"))
        ]
        return [
            {
                "position": place,
                "removed": removed or sits.get(place),
                "fitted": fitted or None,
                "orientation": lie.get(place, Placement.Orientation.NORMAL.value),
                "reason": said["reason"],
            }
            for place, removed, fitted in told
        ]


def box(row: int, name: str) -> str:
    """A field by the pointer of what it fills."""
    return f"changes__{row}__{name}"


@form("swaps")
def swap(request: HttpRequest, key: str) -> HttpResponseBase:
    """What sits where, and what was changed."""
    visit = frame.visit_of(key)
    assert visit.pack is not None
    sits = _sits(visit)
    filled = SwapForm(visit.pack.pack_type.module_count, request.POST or None)
    if request.method == "POST" and filled.is_valid() and _taken(request, visit, filled, sits):
        messages.success(request, "The change is stored. A trend begins anew with it.")
        return redirect("job-swap", key=key)
    done = Swap.objects.filter(visit=visit, voided_at__isnull=True)
    context = {
        "form": filled,
        "sits": [(place, sits.get(place, "")) for place in _places(visit)],
        "done": done.prefetch_related("changes__removed", "changes__fitted").order_by("done_at"),
    }
    return frame.shown(request, visit, "swap", "packs/job/swap.html", context)


def _places(visit: Visit) -> range:
    assert visit.pack is not None
    return range(1, visit.pack.pack_type.module_count + 1)


def _sits(visit: Visit) -> dict[int, str]:
    """The tag of the module that is recorded at each position now, where it has one."""
    rows = Placement.objects.filter(pack=visit.pack_id, removed_at__isnull=True)
    return dict(rows.filter(module__isnull=False).values_list("position", "module__tag"))


def _lie(visit: Visit) -> dict[int, str]:
    assert visit.pack is not None
    return {seat.position: seat.orientation for seat in visit.pack.pack_type.layout.positions}


def _taken(request: HttpRequest, visit: Visit, filled: SwapForm, sits: Mapping[int, str]) -> bool:
    assert visit.pack is not None
    by, at = actor(request), timezone.now()
    if sent_before(Swap, filled, by):
        return True
    said = filled.entry()
    entry = {
        "pack": visit.pack.serial,
        "visit": frame.key_of(visit),
        "done_at": said.get("at") or at,
        "done_by": said["done_by"],
        "kind": Swap.Kinds.MODULE.value,
        "changes": filled.changes(sits, _lie(visit)),
        "external_id": filled.external_id,
    }
    return stored(filled, partial(swaps.record_swap, by=by, at=at, entry=entry)) is not None
