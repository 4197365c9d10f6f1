"""The pages of the stock: what is on the shelves and how well it is known, and what is short."""

import csv
from collections.abc import Iterable, Mapping
from io import StringIO
from typing import Any

from django import forms
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import render
from django.utils import timezone

from packs.models import Module
from packs.pages.doors import page, roles
from packs.reads import inventory, sites
from packs.reads.inventory import Asked, Group, Line
from packs.reads.roles import may
from packs.rules.closeness import FIGURES
from packs.rules.identity import encode
from packs.rules.spreadsheets import defused

SHOWN = 100  # modules a page
TEST_WORDS = {
    inventory.FRESH: f"tested within {inventory.TESTS_OLD_AFTER.days} days",
    inventory.OLD: "tests are older",
    inventory.NONE: "not tested",
}
STATES = [(key, label.lower()) for key, label in Module.Status.choices]


class StockFilter(forms.Form):
    """Always bound: what an address leaves out is any, and what is wrong is told beside it."""

    status = forms.ChoiceField(
        required=False, label="State", choices=[("", "on the shelves"), *STATES]
    )
    form = forms.ChoiceField(
        required=False,
        label="Form",
        choices=[("", "any"), *((key, label.lower()) for key, label in Module.Form.choices)],
    )
    cells = forms.IntegerField(required=False, label="Cells", min_value=1, max_value=1000)
    generation = forms.CharField(required=False, label="Generation", max_length=40)
    tests = forms.ChoiceField(
        required=False, label="Tests", choices=[("", "any"), *TEST_WORDS.items()]
    )
    lot = forms.CharField(required=False, label="Lot", max_length=40)
    donor = forms.CharField(required=False, label="Donor pack", max_length=40)
    shelf = forms.CharField(required=False, label="Shelf", max_length=40)

    def __init__(self, said: QueryDict) -> None:
        self.given = {name: value for name, value in said.items() if value}
        super().__init__(self.given)
        for name in self.fields:
            if name in self.errors:
                self.fields[name].widget.attrs["aria-describedby"] = f"id_{name}-error"

    def asked(self) -> Asked:
        """What is asked for; what could not be understood is not asked."""
        return Asked(**self.cleaned_data)


@page("modules")
def stock_list(request: HttpRequest) -> HttpResponse:
    """What is there, what is short, and the modules that the address asks for."""
    at, asked = timezone.now(), StockFilter(request.GET)
    shown = Paginator(inventory.rows(asked.asked(), at=at), SHOWN).get_page(request.GET.get("page"))
    groups = inventory.groups(at=at)
    context = {
        "form": asked,
        "query": _query(request),
        "groups": [_told(group) for group in groups],
        "counts": _counts(groups),
        "parts": [(kind.replace("_", " "), _worded(told)) for kind, told in inventory.parts()],
        "short": inventory.shortages(),
        "shown": shown,
        "lines": [_line(line) for line in inventory.lines(list(shown), at=at)],
        "may_write": may(roles(request), "modules", write=True),
    }
    return render(request, "packs/stock/list.html", context)


@page("modules")
def stock_export(request: HttpRequest) -> HttpResponse:
    """The same modules as CSV (RFC 4180), all of them."""
    at = timezone.now()
    found = list(inventory.rows(StockFilter(request.GET).asked(), at=at))
    written = StringIO()
    written.write("\ufeff")  # spreadsheets then read letters beyond ASCII as they are
    out = csv.writer(written)
    out.writerow(EXPORTED)
    for line in inventory.lines(found, at=at):
        cells: Iterable[Any] = _cells(line)
        out.writerow(defused(cell) if isinstance(cell, str) else cell for cell in cells)
    name = f"stock-{sites.day(at).isoformat()}.csv"
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return HttpResponse(written.getvalue(), content_type="text/csv; charset=utf-8", headers=headers)


EXPORTED = (
    "Module", "State", "Why", "Form", "Cells", "Generation", "Lot", "Donor pack", "Shelf",
    "Reserved for", "Capacity, Ah", "Resistance, mΩ", "Loss at stand, mV a day",
    "Age of the oldest figure, days", "Tests",
)  # fmt: skip


def _cells(line: Line) -> tuple[Any, ...]:
    row = line.module
    return (
        row.tag,
        row.status,
        row.status_reason,
        row.form,
        row.cells,
        row.generation,
        row.lot.code if row.lot else None,
        row.donor_pack.serial if row.donor_pack else None,
        row.shelf,
        encode("vi", row.reserved_for_id) if row.reserved_for_id else None,
        *line.figures.values,
        round(line.figures.age_days) if any(line.figures.values) else None,
        TEST_WORDS[line.tests],
    )


def _query(request: HttpRequest) -> str:
    """The address's own fields, without the page."""
    said = request.GET.copy()
    said.pop("page", None)
    return f"?{said.urlencode()}" if said else ""


def _counts(groups: Iterable[Group]) -> Mapping[str, int]:
    """What the first sentence says."""
    told = list(groups)
    return {
        "all": sum(group.count for group in told),
        "free": sum(group.statuses.get("stock", 0) for group in told),
        "quarantined": sum(group.statuses.get("quarantined", 0) for group in told),
        "untested": sum(group.tests.get(inventory.NONE, 0) for group in told),
        "old": sum(group.tests.get(inventory.OLD, 0) for group in told),
    }


def _told(group: Group) -> dict[str, Any]:
    return {
        "row": group,
        "form": Module.Form(group.form).label,
        "types": ", ".join(group.types),
        "states": [(key, label, group.statuses.get(key, 0)) for key, label in STATES],
        "tests": [(key, label, group.tests.get(key, 0)) for key, label in TEST_WORDS.items()],
    }


def _worded(counted: Mapping[str, int]) -> str:
    return ", ".join(f"{count} {status}" for status, count in sorted(counted.items()))


def _line(line: Line) -> dict[str, Any]:
    row, figures = line.module, dict(zip(FIGURES, line.figures.values, strict=True))
    return {
        "row": row,
        "figures": figures,
        "age_days": round(line.figures.age_days) if any(line.figures.values) else None,
        "tests": TEST_WORDS[line.tests],
        "visit": encode("vi", row.reserved_for_id) if row.reserved_for_id else None,
    }
