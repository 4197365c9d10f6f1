"""The page of a claim: the terms read out, and what is asked or decided under them."""

from functools import partial
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone

from packs.errors import Conflict
from packs.models import Claim, Role, Visit, Warranty
from packs.pages.doors import actor, form, roles
from packs.pages.forms import EntryForm, MoneyField, stored
from packs.pages.promises import kind, past, until
from packs.reads import claims as read
from packs.reads import sites, visits
from packs.reads.claims import Covered
from packs.rules.identity import encode
from packs.writes import claims

DECISIONS = [
    (Claim.Decision.OPEN.value, "Open: not yet decided"),
    (Claim.Decision.ACCEPTED.value, "Accepted"),
    (Claim.Decision.REFUSED.value, "Refused"),
]
MEANWHILE = (
    "A claim under this warranty was stored meanwhile; it stands above. Read it, then send again."
)


class ClaimForm(EntryForm):
    """A claim as it stands from now on; goodwill is given by a manager."""

    decision = forms.ChoiceField(label="Decision", choices=DECISIONS, widget=forms.RadioSelect)
    reason = forms.CharField(
        label="Reason",
        required=False,
        max_length=5000,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="Needed for a refusal. No names or numbers of people.",
    )
    parts_cost = MoneyField(label="Parts", required=False)
    labour_cost = MoneyField(label="Labour", required=False)
    goodwill = MoneyField(
        label="Goodwill", required=False, help_text="Given beyond what the warranty covers."
    )
    supersedes = forms.CharField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, one: Covered, manages: bool, **kwargs: Any) -> None:
        self.claim = one.claim
        super().__init__(*args, initial=_initial(one.claim), **kwargs)
        if not manages:
            del self.fields["goodwill"]

    def clean(self) -> dict[str, Any]:
        said: dict[str, Any] = super().clean() or self.cleaned_data
        if said.get("decision") == Claim.Decision.REFUSED and not said.get("reason"):
            self.add_error("reason", "Say why it is refused; the owner will ask.")
        return said

    def entry(self, below: str = "") -> dict[str, Any]:
        """The whole claim again; the goodwill of a manager stays as it was given."""
        said = super().entry(below)
        if "goodwill" not in self.fields and self.claim is not None:
            said["goodwill"] = self.claim.goodwill
        return said

    def overtaken(self) -> bool:
        """Whether a claim stands that was not there when the form was shown."""
        fresh = self.claim is not None and self.claim.external_id != self.external_id
        return fresh and not self.cleaned_data["supersedes"]

    def look_again(self) -> None:
        """Sent once more, it is sent by who has read the claim that stands now."""
        self.data = {**dict(self.data.items()), "supersedes": _key(self.claim)}


def _initial(row: Claim | None) -> dict[str, Any]:
    if row is None:
        return {"decision": Claim.Decision.OPEN.value}
    named = ("decision", "reason", *claims.MONEY)
    return {**{name: getattr(row, name) for name in named}, "supersedes": _key(row)}


def _key(row: Claim | None) -> str:
    return "" if row is None else encode(Claim.PREFIX, row.pk)


@form("claims")
def claim(request: HttpRequest, key: str) -> HttpResponseBase:
    """The claim of a visit under one warranty; of several, first which one."""
    row = visits.addressed(key)
    covered = read.of_visit(row)
    one = _meant(covered, request.GET.get("warranty", ""))
    context = {"visit": row, "key": key, "name": visits.name_of(row)}
    if one is None:
        return render(request, "packs/claims/which.html", {**context, "told": told(covered)})
    manages = Role.MANAGER in roles(request)
    filled = ClaimForm(request.POST or None, one=one, manages=manages)
    if request.method == "POST" and filled.is_valid():
        claimed = _stored(request, filled, row, one)
        if claimed is not None:
            stands = DECIDED[claimed.decision]
            messages.success(request, f"Stored: the claim under the {_noun(one)} {stands}.")
            return redirect("visit", key=key)
        one = _meant(read.of_visit(row), _warranty(one)) or one
        filled.claim = one.claim
        filled.look_again()
    context |= {"form": filled, "told": told([one]), "standing": one.claim}
    return render(request, "packs/claims/claim.html", context)


DECIDED = {
    Claim.Decision.OPEN.value: "is open",
    Claim.Decision.ACCEPTED.value: "was accepted",
    Claim.Decision.REFUSED.value: "was refused",
}


def _meant(covered: tuple[Covered, ...], warranty: str) -> Covered | None:
    """The one that is named, or the only one there is."""
    if not warranty and len(covered) == 1:
        return covered[0]
    return next((one for one in covered if _warranty(one) == warranty), None)


def _warranty(one: Covered) -> str:
    return encode(Warranty.PREFIX, one.promise.warranty.pk)


def _noun(one: Covered) -> str:
    return f"warranty for the {kind(one.promise).lower()}"


def _stored(request: HttpRequest, filled: ClaimForm, visit: Visit, one: Covered) -> Claim | None:
    """The claim, or None where the form now says what is wrong."""
    entry = {
        **filled.entry(),
        "warranty": _warranty(one),
        "visit": encode(Visit.PREFIX, visit.pk),
        "external_id": filled.external_id,
    }
    if filled.overtaken():
        filled.refuse(Conflict.at("", "claimed_meanwhile", MEANWHILE))
        return None
    write = partial(claims.record_claim, by=actor(request), at=timezone.now(), entry=entry)
    return stored(filled, write)


def told(covered: tuple[Covered, ...] | list[Covered]) -> list[dict[str, Any]]:
    """Each warranty in the words of the desk, with its claim."""
    site = sites.present()
    return [
        {
            "kind": kind(one.promise),
            "stands": f"runs {until(one.promise, site)}"
            if one.promise.running
            else past(one.promise, site),
            "running": one.promise.running,
            "warranty": one.promise.warranty,
            "key": _warranty(one),
            "claim": one.claim,
            "decided": "" if one.claim is None else DECIDED[one.claim.decision],
            "sums": [] if one.claim is None else _sums(one.claim),
        }
        for one in covered
    ]


def _sums(row: Claim) -> list[tuple[str, Any]]:
    named = zip(("parts", "labour", "goodwill"), claims.MONEY, strict=True)
    return [(label, getattr(row, name)) for label, name in named if getattr(row, name) is not None]
