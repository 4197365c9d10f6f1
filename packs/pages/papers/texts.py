"""The pages on which a manager writes the shop's own words for its papers."""

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone

from packs.errors import DomainError, Stale
from packs.models import PaperText
from packs.pages.doors import actor, form, page
from packs.pages.forms import EntryForm
from packs.pages.papers.kinds import LABELS, preview, text_of
from packs.pages.papers.sheets import asked_by, show
from packs.reads import papers
from packs.writes import paper_texts

TEXT_MAX = 5000  # characters, as the API takes
PLAIN = "Plain text; a blank line begins a new paragraph."


class WordsForm(EntryForm):
    """The words of one paper; `version` is that of the words they were written over."""

    heading = forms.CharField(label="Heading", max_length=120)
    opening = forms.CharField(
        label="Before the facts",
        required=False,
        max_length=TEXT_MAX,
        help_text=PLAIN,
        widget=forms.Textarea(attrs={"rows": 5}),
    )
    closing = forms.CharField(
        label="After the facts",
        required=False,
        max_length=TEXT_MAX,
        help_text=PLAIN,
        widget=forms.Textarea(attrs={"rows": 10}),
    )
    version = forms.IntegerField(widget=forms.HiddenInput, min_value=0)

    def words(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in paper_texts.WORDS}


@form("paper-texts")
def texts(request: HttpRequest) -> HttpResponse:
    """Every paper with its words as they stand now."""
    told = [
        {"name": name, "label": label, "words": papers.words(name), "stored": papers.stored(name)}
        for name, label in LABELS.items()
    ]
    return render(request, "packs/papers/texts.html", {"papers": told})


@form("paper-texts")
def text(request: HttpRequest, name: str) -> HttpResponseBase:
    """The words of one paper, to be changed."""
    row, words = papers.stored(text_of(name)), papers.words(name)
    first = {part: getattr(words, part) for part in paper_texts.WORDS}
    first["version"] = 0 if row is None else row.version
    filled = WordsForm(request.POST or None, initial=first)
    if request.method == "POST" and filled.is_valid():
        try:
            _store(request, name, row, filled)
        except DomainError as error:
            filled.refuse(error)
        else:
            messages.success(request, f"Stored: {LABELS[name]}. Papers from now on read so.")
            return redirect("paper-texts")
    stale = bool(filled.errors) and str(filled["version"].value()) != str(first["version"])
    context = {"form": filled, "name": name, "label": LABELS[name], "words": words, "stale": stale}
    return render(request, "packs/papers/text.html", context)


def _store(request: HttpRequest, name: str, row: PaperText | None, filled: WordsForm) -> None:
    """Store a new version, unless these words stand already."""
    said, version = filled.words(), filled.cleaned_data["version"]
    if row is not None and all(getattr(row, part) == said[part] for part in said):
        return
    by, at = actor(request), timezone.now()
    if row is not None:
        paper_texts.change_paper_text(row, by=by, at=at, version=version, changes=said)
    elif version == 0:
        paper_texts.create_paper_text(by=by, at=at, entry={"paper": name, **said})
    else:
        raise Stale.at("", "stale_version", "It was changed meanwhile; open the page again.")


@page("paper-texts")
def text_preview(request: HttpRequest, name: str) -> HttpResponse:
    """A paper with its words as they stand now, about nothing."""
    return show(request, preview(text_of(name), asked_by(request)), has_pdf=False)
