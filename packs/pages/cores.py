"""The pages of cores: old packs owed in exchange, handed in, judged, refunded."""

from datetime import date, timedelta
from functools import partial
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone

from packs.models import Core, Visit
from packs.pages.doors import actor, form, page, roles
from packs.pages.forms import Day, EntryForm, MoneyField, stored
from packs.reads import cores as read
from packs.reads import names, photos, sites
from packs.reads.roles import may
from packs.rules.identity import encode
from packs.writes import cores

SETTLED_SHOWN = 20  # the last ones that came back
DUE_AFTER = timedelta(days=30)  # of the exchange, proposed; common practice, no source
YES_NO = [("yes", "Yes"), ("no", "No")]


def _truth(text: str) -> bool:
    return text == "yes"


class YesNo(forms.TypedChoiceField):
    """A question to be answered, yes or no; neither until somebody looked."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(
            choices=YES_NO, coerce=_truth, empty_value=None, widget=forms.RadioSelect, **kwargs
        )

    def prepare_value(self, value: Any) -> Any:
        return {True: "yes", False: "no"}.get(value, value)


class DueForm(EntryForm):
    """A core that is owed from now on."""

    pack = forms.CharField(
        label="Serial of the old pack", max_length=40, help_text="Type it or scan its label."
    )
    deposit = MoneyField(label="Deposit held")
    due_on = Day(label="To be back by")


class ReturnForm(EntryForm):
    """What became of a core."""

    state = forms.ChoiceField(
        label="Decision",
        choices=[("accepted", "Accepted"), ("refused", "Refused"), ("refunded", "Refunded")],
        widget=forms.RadioSelect,
        help_text="Refunded: accepted, and the deposit given back.",
    )
    returned_on = Day(label="Came back on")
    complete = YesNo(
        label="Complete, with its case, junction board and switch?",
        required=False,
        help_text="This and the next two are needed unless it is refused.",
    )
    opened = YesNo(label="Opened by somebody?", required=False)
    flooded = YesNo(label="Flooded, or wet inside?", required=False)
    refund = MoneyField(
        label="Given back", required=False, help_text="Needed where the deposit was refunded."
    )
    reason = forms.CharField(
        label="Reason",
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="Needed for a refusal, and for one taken incomplete, opened or flooded.",
    )


@page("cores")
def cores_list(request: HttpRequest) -> HttpResponse:
    """Who still owes a core, the late ones first, and those that came back."""
    today = sites.day(timezone.now())
    owed = list(read.due())
    sees_owner = may(roles(request), "customers", write=False)
    context = {
        "owed": [_told(core, today) for core in owed],
        "late": sum(read.is_overdue(core, today=today) for core in owed),
        "held": sum(core.deposit for core in owed),
        "settled": [_told(core, today) for core in read.settled()[:SETTLED_SHOWN]],
        "may_write": may(roles(request), "cores", write=True),
        "sees_owner": sees_owner,
        "currency": sites.present().currency,
    }
    return render(request, "packs/cores/list.html", context)


def _told(core: Core, today: date) -> dict[str, Any]:
    """A core with its key and how many days it is late."""
    late_days = (today - core.due_on).days
    return {"core": core, "key": _key(core), "late_days": max(late_days, 0)}


def _key(core: Core) -> str:
    return encode(Core.PREFIX, core.pk)


@form("cores")
def core_new(request: HttpRequest) -> HttpResponseBase:
    """A core is owed: which pack, what deposit, until when."""
    now = timezone.now()
    first = {"pack": request.GET.get("pack", ""), "due_on": sites.day(now) + DUE_AFTER}
    filled = DueForm(request.POST or None, initial=first)
    if request.method == "POST" and filled.is_valid():
        entry = {**filled.entry(), "external_id": filled.external_id}
        if request.GET.get("visit"):
            entry["visit"] = request.GET["visit"]
        write = partial(cores.record_core, by=actor(request), at=now, entry=entry)
        core = stored(filled, write)
        if core is not None:
            messages.success(request, f"Stored: pack {entry['pack']} is owed as a core.")
            return redirect("core", key=_key(core))
    return render(request, "packs/cores/new.html", {"form": filled})


@page("cores")
def core(request: HttpRequest, key: str) -> HttpResponse:
    """One core as it stands; a record that was told anew leads on to the newest."""
    row = names.addressed(Core.objects.select_related("pack", "visit__vehicle"), key)
    newest = _newest(row)
    if newest.pk != row.pk:
        return redirect("core", key=_key(newest))
    today = sites.day(timezone.now())
    context = {
        "core": row,
        "key": key,
        "visit_key": None if row.visit_id is None else encode(Visit.PREFIX, row.visit_id),
        "overdue": read.is_overdue(row, today=today),
        "photos": photos.named(row.photos),
        "of_pack": photos.of_pack(row.pack),
        "may_write": may(roles(request), "cores", write=True) and _goes_on(row),
        "currency": sites.present().currency,
    }
    return render(request, "packs/cores/core.html", context)


def _newest(row: Core) -> Core:
    """What took the place of a record, and of that in turn."""
    while (following := Core.objects.filter(supersedes=row).first()) is not None:
        row = following
    return row


def _goes_on(row: Core) -> bool:
    return row.voided_at is None and row.state != Core.State.REFUNDED


@form("cores")
def core_judge(request: HttpRequest, key: str) -> HttpResponseBase:
    """What became of a core: accepted, refused, refunded; judged as it was shown."""
    row = names.addressed(Core.objects.select_related("pack"), key)
    newest, now = _newest(row), timezone.now()
    if request.method != "POST" and newest.pk != row.pk:
        return redirect("core-judge", key=_key(newest))
    filled = ReturnForm(request.POST or None, initial=_initial(row, sites.day(now)))
    if request.method == "POST" and filled.is_valid():
        entry = _judged(row, filled)
        write = partial(cores.record_core, by=actor(request), at=now, entry=entry)
        judged = stored(filled, write)
        if judged is not None:
            messages.success(request, f"Stored: the core is {judged.state}.")
            return redirect("core", key=_key(judged))
    context = {"form": filled, "core": row, "key": _key(row)}
    return render(request, "packs/cores/judge.html", context)


def _initial(row: Core, today: date) -> dict[str, Any]:
    begun = row.state != Core.State.DUE
    return {
        "state": "refunded" if row.state == Core.State.ACCEPTED else None,
        "returned_on": row.returned_on or today,
        "complete": row.complete,
        "opened": row.opened,
        "flooded": row.flooded,
        "refund": row.deposit if row.state == Core.State.ACCEPTED else None,
        "reason": row.reason if begun else "",
    }


def _judged(row: Core, filled: ReturnForm) -> dict[str, Any]:
    """The whole core again, as it stands now."""
    assert row.pack is not None
    said = filled.entry()
    return {
        "deposit": row.deposit,
        "due_on": row.due_on,
        "photos": row.photos or photos.ids_since(row.pack, said["returned_on"]),
        **said,
        "pack": row.pack.serial,
        "visit": None if row.visit_id is None else encode(Visit.PREFIX, row.visit_id),
        "supersedes": _key(row),
        "external_id": filled.external_id,
    }
