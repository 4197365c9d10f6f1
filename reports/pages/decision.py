"""What to do with a pack on a job: each repair's outlook, price and risk, side by side."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.urls import NoReverseMatch, reverse
from django.utils import timezone

from packs.errors import DomainError
from packs.models import Component, Visit
from packs.pages.doors import page
from packs.pages.forms import MoneyField
from packs.pages.job import frame
from packs.pages.job.matching import Positions
from packs.reads import sites
from reports.models import Outlook
from reports.pages.figures import frequency, percent
from reports.pages.words import LEVELS
from reports.reads import repair_options
from reports.reads.repair_options import MONTHS, MONTHS_MAX, Ask, Option, Options
from reports.writes import outlooks

NAMES: Mapping[str, str] = {
    "as_it_is": "Nothing",
    "component": "The part alone",
    "modules": "These modules",
    "rebuild": "Rebuild it",
    "replacement": "Another pack",
}
TOLD_DAYS = (90, 180, 365)


class AskForm(forms.Form):
    """What is weighed."""

    positions = Positions(
        label="Positions to renew",
        required=False,
        max_length=2000,
        help_text="Such as 7, 8. Empty: the weakest.",
    )
    component = forms.ChoiceField(
        label="The part", required=False, choices=[("", "None named"), *Component.Kinds.choices]
    )
    months = forms.IntegerField(
        label="Warranty", min_value=1, max_value=MONTHS_MAX, required=False,
        widget=forms.NumberInput(attrs={"data-unit": "months"}),
    )  # fmt: skip
    return_cost = MoneyField(label="A return costs", required=False, help_text="Empty: a rebuild.")

    def ask(self) -> Ask:
        said = self.cleaned_data
        return Ask(
            positions=tuple(said["positions"]),
            component=said["component"],
            months=said["months"] or MONTHS,
            return_cost=said["return_cost"],
        )


@dataclass(frozen=True)
class Column:
    """One repair as it is read."""

    option: Option
    name: str
    what: str
    chances: tuple[tuple[str, str], ...]
    within: str
    within_figure: str
    cheapest: bool


@page("prices")
def decision(request: HttpRequest, key: str) -> HttpResponse:
    """The repairs side by side; the cheapest in the end is said first."""
    visit = frame.visit_of(key)
    assert visit.pack is not None
    outlook = outlooks.present(visit.pack, at=timezone.now())
    asked = AskForm(request.GET or None, initial={"months": MONTHS})
    found = _found(asked, outlook, visit)
    context = {
        "form": asked,
        "found": found,
        "columns": _columns(found),
        "first": _first(found),
        "days": TOLD_DAYS,
        "level": LEVELS[outlook.level].word,
        "currency": sites.present().currency,
        "addresses": _addresses(key, found),
    }
    return frame.shown(request, visit, "decision", "reports/decision.html", context)


def _found(asked: AskForm, outlook: Outlook, visit: Visit) -> Options:
    """What was asked for, or where that can't be, what would be told without asking."""
    if asked.is_bound and asked.is_valid():
        try:
            return repair_options.gather(outlook, asked.ask(), visit=visit)
        except DomainError as error:
            for fault in error.faults:
                name = fault.pointer.strip("/")
                asked.add_error(name if name in asked.fields else None, fault.detail)
    return repair_options.gather(outlook, Ask(), visit=visit)


def _columns(found: Options) -> list[Column]:
    best = _best(found)
    return [
        Column(
            option=option,
            name=NAMES[option.kind],
            what=_what(option, found),
            chances=tuple(
                (frequency(option.after.failure_probability[days]),
                 percent(option.after.failure_probability[days]))
                for days in TOLD_DAYS
            ),
            within=frequency(option.after.within_warranty),
            within_figure=percent(option.after.within_warranty),
            cheapest=option is best,
        )
        for option in found.options
    ]  # fmt: skip


def _what(option: Option, found: Options) -> str:
    """What is changed."""
    if option.kind == "modules":
        places = ", ".join(str(position) for position in option.positions)
        noun = "position" if len(option.positions) == 1 else "positions"
        return f"{noun} {places}" + (f": {', '.join(option.modules)}" if option.modules else "")
    if option.kind == "component":
        return found.ask.component.replace("_", " ")
    return f"{len(option.positions)} modules" if option.kind == "rebuild" else ""


def _best(found: Options) -> Option | None:
    """The repair that costs least in the end; nothing done is none."""
    costs: list[tuple[Decimal, int, Option]] = [
        (option.expected_cost, place, option)
        for place, option in enumerate(found.options)
        if option.expected_cost is not None and option.kind != "as_it_is"
    ]
    return min(costs)[2] if costs else None


def _first(found: Options) -> str:
    """The answer: which costs least in the end, and how likely it comes back."""
    best, months = _best(found), found.ask.months
    if best is None:
        return "The price list says too little to tell what a repair costs in the end."
    share = frequency(best.after.within_warranty)
    cost = f"{best.expected_cost:.2f} {sites.present().currency}".rstrip()
    name = NAMES[best.kind].lower()
    return (
        f"Least in the end, of those that can be reckoned: {name}, {cost} with returns; "
        f"{share} like it fail within {months} months."
    )


def _addresses(key: str, found: Options) -> dict[str, Any]:
    """Where to go on: the matching of these positions, the list of prices."""
    places = ",".join(str(position) for position in found.ask.positions)
    try:
        return {
            "matching": f"{reverse('job-matching', args=[key])}?positions={places}",
            "prices": reverse("prices"),
        }
    except NoReverseMatch:
        return {}
