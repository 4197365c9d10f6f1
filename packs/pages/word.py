"""The page of the owner's word to the work of a visit, where it was not had at check-in."""

from functools import partial

from django import forms
from django.contrib import messages
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone

from packs.models import Consent
from packs.pages.doors import actor, form
from packs.pages.forms import EntryForm, Moment, stored
from packs.reads import papers, visits
from packs.writes import consents

HOW = [
    (Consent.How.SIGNED.value, "Signed"),
    (Consent.How.IN_PERSON.value, "In person"),
    (Consent.How.TELEPHONE.value, "By telephone"),
    (Consent.How.MAIL.value, "By mail"),
]


class WordForm(EntryForm):
    """What the owner said."""

    given = forms.TypedChoiceField(
        label="The owner",
        choices=[("yes", "agrees"), ("no", "refuses")],
        coerce=lambda text: text == "yes",
        widget=forms.RadioSelect,
    )
    how = forms.ChoiceField(label="How", choices=HOW, widget=forms.RadioSelect)
    at = Moment(label="When")
    note = forms.CharField(
        label="Note",
        required=False,
        max_length=5000,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="Names and numbers belong to the customer's page, not here.",
    )


@form("consents")
def visit_word(request: HttpRequest, key: str) -> HttpResponseBase:
    """The owner's word to the work of a visit; the sentence put to the owner is kept."""
    row, now = visits.addressed(key), timezone.now()
    wording = papers.words("intake").closing
    filled = WordForm(request.POST or None, initial={"at": now})
    if request.method == "POST" and filled.is_valid():
        entry = {
            **filled.entry(),
            "given": filled.cleaned_data["given"],
            "visit": key,
            "about": Consent.About.INTAKE.value,
            "wording": wording,
            "external_id": filled.external_id,
        }
        write = partial(consents.record_consent, by=actor(request), at=now, entry=entry)
        if stored(filled, write) is not None:
            agreed = "agreed" if entry["given"] else "refused"
            messages.success(request, f"Stored: the owner {agreed}.")
            return redirect("visit", key=key)
    context = {
        "form": filled,
        "visit": row,
        "key": key,
        "name": visits.name_of(row),
        "word": visits.word_to_intake(row),
        "wording": wording,
    }
    return render(request, "packs/word.html", context)
