"""How a pack may travel: cautions, references, what was decided, and the form that decides."""

from datetime import date
from functools import partial
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone

from packs.models import Pack, ShippingDecision
from packs.models.types import Chemistry
from packs.pages.doors import actor, form, page, roles
from packs.pages.forms import EntryForm, Moment, stored
from packs.reads import lithium, names, sites
from packs.reads import shipping as reads
from packs.reads.roles import may
from packs.rules import shipping
from packs.rules.lithium import QUARANTINE, WITHOUT_MONITOR
from packs.writes import shipping_decisions
from packs.writes.shipping_decisions import CONDITIONS


class DecisionForm(EntryForm):
    """A decision, signed by somebody who may."""

    condition = forms.ChoiceField(
        label="Condition",
        choices=[(value, word.capitalize()) for value, word in CONDITIONS.items()],
        widget=forms.RadioSelect,
    )
    un_number = forms.ChoiceField(label="Number", widget=forms.RadioSelect)
    reasons = forms.CharField(
        label="What it rests on",
        max_length=5000,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="Such as: case swollen at positions 6 and 7, vented, 2.1 V at the lowest cell.",
    )
    packing = forms.CharField(
        label="How it is packed", max_length=5000, required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
    )  # fmt: skip
    done_by = forms.ChoiceField(label="Signed by")
    qualification = forms.ChoiceField(label="As qualified for")
    at = Moment(required=False, label="When", help_text="Empty: now.")

    def __init__(self, pack: Pack, today: date, *args: Any) -> None:
        super().__init__(*args)
        numbers = shipping.UN_NUMBERS[pack.pack_type.chemistry]
        signers = reads.may_sign(sites.present(), today)
        people = {person.code: f"{person.code}, {person.name}" for person, _ in signers}
        levels = dict.fromkeys(level for _, level in signers)
        self.fill("un_number", [(one, f"{one}: {shipping.NAMES[one]}") for one in numbers])
        self.fill("done_by", [("", "Who signs?"), *people.items()])
        self.fill("qualification", [("", "Which?"), *((level, level) for level in levels)])

    def fill(self, name: str, choices: list[tuple[str, str]]) -> None:
        """Set what there is to choose from."""
        field = self.fields[name]
        assert isinstance(field, forms.ChoiceField)
        field.choices = choices


@page("shipping-decisions")
def pack_shipping(request: HttpRequest, serial: str) -> HttpResponse:
    """What stands about how a pack may travel."""
    pack = _named(serial)
    kind = pack.pack_type
    context = {
        "pack": pack,
        "decisions": [_told(row) for row in reads.decisions(pack)],
        "lithium": kind.chemistry == Chemistry.LI_ION,
        "cells": lithium.cells(pack),
        "alarming": shipping_decisions.alarming(pack, timezone.now()),
        "quarantined": lithium.quarantined(pack),
        "advice": _advice(kind.chemistry),
        "numbers": [(one, shipping.NAMES[one]) for one in shipping.UN_NUMBERS[kind.chemistry]],
        "quarantine": QUARANTINE,
        "without_monitor": WITHOUT_MONITOR,
        "may_write": may(roles(request), "shipping-decisions", write=True),
    }
    return render(request, "packs/shipping/pack.html", context)


@form("shipping-decisions")
def shipping_decide(request: HttpRequest, serial: str) -> HttpResponseBase:
    """Decide how a pack may travel."""
    pack, now = _named(serial), timezone.now()
    filled = DecisionForm(pack, sites.day(now), request.POST or None)
    if request.method == "POST" and filled.is_valid():
        entry = {**filled.entry(), "pack": pack.serial, "external_id": filled.external_id}
        write = partial(
            shipping_decisions.record_shipping_decision, by=actor(request), at=now, entry=entry
        )
        if stored(filled, write) is not None:
            messages.success(request, "The decision is stored. It is a record, no permission.")
            return redirect("pack-shipping", serial=pack.serial)
    site = sites.present()
    context = {
        "form": filled,
        "pack": pack,
        "signers": reads.may_sign(site, sites.day(now)),
        "named": reads.signers(site),
    }
    return render(request, "packs/shipping/decide.html", context)


def _named(serial: str) -> Pack:
    return names.keyed(names.packs(), serial__upper=serial.upper())


def _advice(chemistry: str) -> list[tuple[str, shipping.Advice]]:
    """Each condition with what it means; once where it means the same for all."""
    told = [(word, shipping.advice(chemistry, value)) for value, word in CONDITIONS.items()]
    if len({advice.said for _, advice in told}) == 1:
        return [("in any condition", told[0][1])]
    return told


def _told(row: ShippingDecision) -> dict[str, Any]:
    return {
        "row": row,
        "condition": CONDITIONS[row.condition],
        "name": shipping.NAMES[row.un_number],
    }
