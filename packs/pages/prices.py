"""The pages of the shop's own price list."""

from collections.abc import Mapping
from decimal import Decimal
from functools import partial
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone

from packs.models import Component, PackType, PriceItem
from packs.pages.doors import actor, form, page, roles
from packs.pages.forms import EntryForm, MoneyField, stored
from packs.reads import names, prices, sites
from packs.reads.roles import may
from packs.writes import prices as writes
from packs.writes.recording import Outcome

ANY = ("", "Any")
HOURS = {"inputmode": "decimal", "data-unit": "h"}
GROUPS: Mapping[str, str] = {
    PriceItem.Kinds.HOUR: "An hour of work",
    PriceItem.Kinds.MODULE: "Modules, the price of one",
    PriceItem.Kinds.COMPONENT: "Other parts",
    PriceItem.Kinds.REBUILD: "Rebuild of a whole pack",
    PriceItem.Kinds.REPLACEMENT: "Replacement by another pack",
}


def _types() -> list[tuple[str, str]]:
    codes = PackType.objects.order_by("code").values_list("code", "name")
    return [ANY, *((code, f"{code}, {name}") for code, name in codes)]


class Hours(forms.DecimalField):
    """Hours, with a point or a comma."""

    default_error_messages = {"invalid": "Write hours such as 4.5."}

    def __init__(self, **said: Any) -> None:
        limits: dict[str, Any] = {"min_value": 0, "max_value": 1000, "decimal_places": 2}
        super().__init__(widget=forms.TextInput(attrs=HOURS), **limits, **said)

    def to_python(self, value: Any) -> Any:
        return super().to_python(value.replace(",", ".") if isinstance(value, str) else value)


class ChangeForm(EntryForm):
    """What may change of a line."""

    what = forms.CharField(label="What it is", max_length=200)
    price = MoneyField(label="Price")
    hours = Hours(
        label="Hours",
        required=False,
        help_text="Of the whole piece of work, however many modules it takes.",
    )


class PriceForm(ChangeForm):
    """A new line of the list."""

    code = forms.RegexField(
        r"^\w[\w .+-]{0,39}\Z",
        label="Short name",
        max_length=40,
        error_messages={"invalid": "Letters, digits, spaces, or one of . _ + -."},
    )
    kind = forms.ChoiceField(label="Kind", choices=PriceItem.Kinds.choices)
    pack_type = forms.ChoiceField(label="Pack type", choices=_types, required=False)
    component_kind = forms.ChoiceField(
        label="Kind of part",
        choices=[("", "None"), *Component.Kinds.choices],
        required=False,
        help_text="For a component.",
    )
    field_order = ("code", "kind", "pack_type", "component_kind", "what", "price", "hours")


class EditForm(ChangeForm):
    """A change, of the version that was looked at."""

    version = forms.IntegerField(widget=forms.HiddenInput)


@page("prices")
def price_list(request: HttpRequest) -> HttpResponse:
    """The list by kinds; what is missing for a reckoning is said."""
    rows = list(prices.rows())
    groups = [(label, [row for row in rows if row.kind == kind]) for kind, label in GROUPS.items()]
    context = {
        "groups": groups,
        "missing": [label.lower() for label, held in groups if not held],
        "may_write": may(roles(request), "prices", write=True),
        "currency": sites.present().currency,
    }
    return render(request, "packs/prices/list.html", context)


@form("prices")
def price_new(request: HttpRequest) -> HttpResponseBase:
    """A new line."""
    filled = PriceForm(request.POST or None)
    if request.method == "POST" and filled.is_valid():
        by, at = actor(request), timezone.now()
        if stored(filled, partial(writes.create_price, by=by, at=at, entry=filled.entry())):
            messages.success(request, "The price is stored.")
            return redirect("prices")
    return render(request, "packs/prices/form.html", {"form": filled, "row": None})


@form("prices")
def price(request: HttpRequest, code: str) -> HttpResponseBase:
    """A line changed; estimates that were given keep what they said."""
    row = names.keyed(prices.rows(), code=code)
    first = {name: getattr(row, name) for name in ("what", "price", "hours", "version")}
    filled = EditForm(request.POST or None, initial=first)
    if request.method == "POST" and filled.is_valid() and _changed(request, filled, row):
        messages.success(request, "The price is stored.")
        return redirect("prices")
    return render(request, "packs/prices/form.html", {"form": filled, "row": row})


def _changed(request: HttpRequest, filled: EditForm, row: PriceItem) -> bool:
    by, at = actor(request), timezone.now()
    said = filled.cleaned_data
    changes = {"what": said["what"], "price": said["price"], "hours": said["hours"] or Decimal(0)}

    def write() -> Outcome[PriceItem]:
        version = said["version"]
        changed = writes.change_price(row, by=by, at=at, version=version, changes=changes)
        return Outcome(changed, created=False)

    return stored(filled, write) is not None
