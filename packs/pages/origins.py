"""The pages of a lot and of a donor pack: what came of it, where its modules are, whom to call."""

from dataclasses import dataclass
from functools import partial
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone

from packs.errors import DomainError
from packs.models import Customer, Lot, Module, Pack, Role
from packs.pages import units
from packs.pages.doors import actor, form, page, roles
from packs.pages.forms import EntryForm
from packs.pages.job.doers import NOBODY, people
from packs.reads import genealogy, names, sites, yields
from packs.reads.genealogy import Carrier, Origin
from packs.reads.roles import may
from packs.reads.yields import Yield
from packs.rules.identity import encode
from packs.writes import recalls

SHOWN = 200  # modules listed on the page; all of them are in the stock list and its CSV


def deciders() -> list[tuple[str, str]]:
    """Who may set modules aside: the bench and the managers, by code and name."""
    return [NOBODY, *sorted({*people(Role.BENCH), *people(Role.MANAGER)})]


class QuarantineForm(EntryForm):
    """Why an origin is set aside, and who says so."""

    done_by = forms.ChoiceField(label="Who says so", choices=deciders)
    reason = forms.CharField(
        label="Reason",
        max_length=1000,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="Such as: three of it vented under load. It stands with every module.",
    )


@dataclass(frozen=True)
class Shown:
    """A lot or a donor pack as its pages name it."""

    kind: str
    key: str
    origin: Origin
    addresses: str  # of its page; that with `-quarantine` sets it aside
    filter: str  # of the stock list

    @property
    def page(self) -> str:
        return reverse(self.addresses, args=[self.key])


def _of_lot(row: Lot) -> Shown:
    return Shown("Lot", row.code, genealogy.of_lot(row), "lot", "lot")


def _of_donor(row: Pack) -> Shown:
    return Shown("Donor pack", row.serial, genealogy.of_donor(row), "donor", "donor")


def _lot(code: str) -> Lot:
    return names.keyed(Lot.objects.all(), code=code)


def _donor(serial: str) -> Pack:
    return names.keyed(names.packs(), serial__upper=serial.upper())


@page("lots")
def lot(request: HttpRequest, code: str) -> HttpResponse:
    """A lot by its code."""
    row = _lot(code)
    return _page(request, _of_lot(row), yields.of_lots([row])[row.pk], {"lot": row})


@page("lots")
def donor(request: HttpRequest, serial: str) -> HttpResponse:
    """A donor pack by its serial."""
    row = _donor(serial)
    return _page(request, _of_donor(row), yields.of_donors([row.pk])[row.pk], {"pack": row})


def _page(request: HttpRequest, what: Shown, came: Yield, more: dict[str, Any]) -> HttpResponse:
    sees_owner = may(roles(request), "customers", write=False)
    carriers = [_told(one, sees_owner) for one in genealogy.carriers(what.origin)]
    site = sites.present()
    context = {
        **more,
        "what": what,
        "came": came,
        "cost": None if came.cost is None else units.money(came.cost, site),
        "good": None if came.cost_per_good is None else units.money(came.cost_per_good, site),
        "now": [one for one in carriers if one["row"].carries],
        "before": [one for one in carriers if not one["row"].carries],
        "modules": Module.objects.filter(what.origin.modules).order_by("tag")[:SHOWN],
        "sees_owner": sees_owner,
        "may_write": may(roles(request), "lots", write=True),
        "quarantine": reverse(f"{what.addresses}-quarantine", args=[what.key]),
    }
    return render(request, "packs/stock/origin.html", context)


def _told(row: Carrier, sees_owner: bool) -> dict[str, Any]:
    owner = row.car.owner_id if row.car and sees_owner else None
    return {"row": row, "owner": None if owner is None else encode(Customer.PREFIX, owner)}


@form("lots")
def lot_quarantine(request: HttpRequest, code: str) -> HttpResponseBase:
    """Set a lot aside."""
    return _quarantine(request, _of_lot(_lot(code)))


@form("lots")
def donor_quarantine(request: HttpRequest, serial: str) -> HttpResponseBase:
    """Set aside what came out of a donor pack."""
    return _quarantine(request, _of_donor(_donor(serial)))


def _quarantine(request: HttpRequest, what: Shown) -> HttpResponseBase:
    filled = QuarantineForm(request.POST or None)
    if request.method == "POST" and filled.is_valid():
        set_aside = partial(
            recalls.quarantine_modules,
            what.origin.modules,
            by=actor(request),
            at=timezone.now(),
            entry=filled.entry(),
        )
        try:
            tags = set_aside()
        except DomainError as error:
            filled.refuse(error)
        else:
            messages.success(request, _said(len(tags)))
            return redirect(f"{what.page}#now")
    loose = Module.objects.filter(what.origin.modules, status__in=recalls.SET_ASIDE)
    carrying = sum(one.carries for one in genealogy.carriers(what.origin))
    context = {"form": filled, "what": what, "loose": loose.count(), "carrying": carrying}
    status = 422 if filled.errors else 200
    return render(request, "packs/stock/quarantine.html", context, status=status)


def _said(count: int) -> str:
    if not count:
        return "Nothing of it was loose; nothing changed."
    return f"{count} module{'' if count == 1 else 's'} set aside."
