"""The pages of estimates: what work is expected to cost, and the owner's word on it."""

from collections.abc import Iterator, Mapping
from functools import partial
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone

from packs.models import Consent, CostEstimate, EstimateLine, Visit
from packs.pages.doors import actor, form
from packs.pages.forms import BELOW, Day, MoneyField, stored
from packs.pages.papers.estimate import wording
from packs.pages.papers.sheets import asked_by
from packs.pages.waits import WaitForm
from packs.pages.word import WordForm
from packs.reads import cost_estimates as read
from packs.reads import names, sites
from packs.rules.costs import CENT
from packs.rules.identity import encode
from packs.writes import consents, cost_estimates

ROWS = 5  # empty lines that a new estimate begins with, and as many more at a press
OTHERS = ("tax_pct", "valid_until", "note", "now_waits")
PARTS = ("kind", "what", "quantity", "unit_price")
KINDS = [
    (EstimateLine.Kinds.PART.value, "Part"),
    (EstimateLine.Kinds.LABOUR.value, "Labour"),
    (EstimateLine.Kinds.OTHER.value, "Other"),
]
NUMBER = {"inputmode": "decimal"}


class Quantity(forms.DecimalField):
    """Pieces or hours, with a point or a comma."""

    default_error_messages = {"invalid": "Give a number, such as 2 or 2.5."}

    def to_python(self, value: Any) -> Any:
        return super().to_python(value.replace(",", ".") if isinstance(value, str) else value)


class EstimateForm(WaitForm):
    """An estimate with so many lines; those left empty do not count."""

    rows = forms.IntegerField(widget=forms.HiddenInput, min_value=1, required=False)
    tax_pct = forms.DecimalField(
        label="Tax",
        min_value=0,
        max_value=100,
        decimal_places=2,
        required=False,
        widget=forms.NumberInput(attrs={**NUMBER, "data-unit": "%", "class": "short"}),
    )
    valid_until = Day(label="Valid until", required=False)
    note = forms.CharField(
        label="Note for the owner",
        required=False,
        max_length=5000,
        widget=forms.Textarea(attrs={"rows": 3}),
    )

    def __init__(self, *args: Any, rows: int, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.count = min(rows, cost_estimates.LINES_MAX)
        for row in range(self.count):
            for part, field in _line_fields(row).items():
                self.fields[_named(row, part)] = field
        self.initial["rows"] = self.count

    def lines(self) -> Iterator[Mapping[str, Any]]:
        """For the template: each line's number and its fields."""
        for row in range(self.count):
            yield {"number": row + 1, **{part: self[_named(row, part)] for part in PARTS}}

    def others(self) -> list[forms.BoundField]:
        return [self[name] for name in OTHERS if name in self.fields]

    def clean(self) -> dict[str, Any]:
        """A line that was begun is whole."""
        said: dict[str, Any] = super().clean() or self.cleaned_data
        for row in self._begun(said):
            for part in PARTS[1:]:
                name = _named(row, part)
                if said.get(name) in (None, "") and name not in self.errors:
                    self.add_error(name, "Fill this in, or empty the whole line.")
        return said

    def entry(self, below: str = "") -> dict[str, Any]:
        """The entry as the API names it, its lines in a list."""
        said = super().entry(below)
        said.pop("rows", None)
        begun = list(self._begun(self.cleaned_data))
        told = [{part: self.cleaned_data[_named(row, part)] for part in PARTS} for row in begun]
        return {**said, "lines": told}

    def _begun(self, said: Mapping[str, Any]) -> Iterator[int]:
        for row in range(self.count):
            if any(said.get(_named(row, part)) not in (None, "") for part in PARTS[1:]):
                yield row


def _line_fields(row: int) -> dict[str, forms.Field]:
    place = f"line {row + 1}"
    return {
        "kind": forms.ChoiceField(label=f"Kind, {place}", choices=KINDS),
        "what": forms.CharField(label=f"What, {place}", max_length=200, required=False),
        "quantity": Quantity(
            label=f"Quantity, {place}",
            min_value=CENT,
            max_digits=8,
            decimal_places=2,
            required=False,
            widget=forms.TextInput(attrs=NUMBER),
        ),
        "unit_price": MoneyField(label=f"Price of one, {place}", required=False),
    }


def _named(row: int, part: str) -> str:
    return BELOW.join(("lines", str(row), part))


class ExtraWordForm(WaitForm, WordForm):
    """What the owner said to extra work, and what the car waits for then."""

    field_order = ("given", "how", "at", "note", "now_waits")


@form("cost-estimates")
def estimate_new(request: HttpRequest, key: str) -> HttpResponseBase:
    """A new estimate for a visit; more lines at a press, nothing typed is lost."""
    visit = names.addressed(Visit.objects.select_related("vehicle", "pack"), key)
    rows = _rows(request)
    if "more" in request.POST:
        typed = {name: value for name, value in request.POST.items() if name != "more"}
        typed.setdefault("now_waits", "")
        filled = EstimateForm(initial=typed, rows=rows + ROWS)
    else:
        filled = EstimateForm(request.POST or None, rows=rows)
    filled.offer(visit, "The car now waits for the owner’s word")
    if request.method == "POST" and filled.is_bound and filled.is_valid():
        entry = {**filled.entry(), "visit": key, "external_id": filled.external_id}
        record = cost_estimates.record_cost_estimate
        row = stored(filled, partial(record, by=actor(request), at=timezone.now(), entry=entry))
        if row is not None:
            filled.move(request, visit, Visit.WaitsFor.OWNER.value, at=timezone.now())
            total = read.sums(row).total
            said = f"Stored: an estimate of {total} {sites.present().currency}".rstrip()
            messages.success(request, f"{said} in all. The owner's word is awaited.")
            return redirect("estimate-word", key=encode(CostEstimate.PREFIX, row.pk))
    context = {"form": filled, "visit": visit, "key": key, "currency": sites.present().currency}
    return render(request, "packs/estimates/new.html", context)


def _rows(request: HttpRequest) -> int:
    """How many lines the form that was sent has."""
    said = request.POST.get("rows", "")
    return int(said) if said.isdecimal() and 1 <= int(said) <= cost_estimates.LINES_MAX else ROWS


@form("consents")
def estimate_word(request: HttpRequest, key: str) -> HttpResponseBase:
    """The owner's word to the work of an estimate; the sentence put to the owner is kept."""
    rows = read.rows().select_related("visit__vehicle", "visit__pack")
    row = names.addressed(rows, key)
    now, said = timezone.now(), wording(row, asked_by(request))
    filled = ExtraWordForm(request.POST or None, initial={"at": now})
    awaited = row.visit.waits_for == Visit.WaitsFor.OWNER
    filled.offer(row.visit, "If the owner agrees, the car now waits for the bench", ticked=awaited)
    counts = row.voided_at is None
    if request.method == "POST" and counts and filled.is_valid():
        entry = _word(row, filled, said)
        write = partial(consents.record_consent, by=actor(request), at=now, entry=entry)
        if stored(filled, write) is not None:
            if entry["given"]:
                filled.move(request, row.visit, Visit.WaitsFor.BENCH.value, at=now)
            agreed = "agreed" if entry["given"] else "refused"
            messages.success(request, f"Stored: the owner {agreed}.")
            return redirect("paper", kind="estimate", key=key)
    context = {
        "form": filled,
        "estimate": row,
        "key": key,
        "visit_key": encode(Visit.PREFIX, row.visit_id),
        "lines": zip(read.lines(row), read.sums(row).amounts, strict=True),
        "sums": read.sums(row),
        "word": read.latest_word(row),
        "wording": said,
        "currency": sites.present().currency,
    }
    return render(request, "packs/estimates/word.html", context)


def _word(row: CostEstimate, filled: ExtraWordForm, said: str) -> dict[str, Any]:
    entry = filled.entry()
    entry["given"] = filled.cleaned_data["given"]
    return {
        **entry,
        "visit": encode(Visit.PREFIX, row.visit_id),
        "estimate": encode(CostEstimate.PREFIX, row.pk),
        "about": Consent.About.EXTRA_WORK.value,
        "wording": said,
        "external_id": filled.external_id,
    }
