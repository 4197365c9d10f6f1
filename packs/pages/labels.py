"""Labels of modules and packs, as PDF for sheets and label printers."""

import re
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone, translation

from packs.models import Module, Pack
from packs.pages.doors import page
from packs.pages.label_sheets import SHEETS, SINGLE, Label, Sheet, as_pdf, single
from packs.reads import names

LABELS_MAX = 500  # of one request
BETWEEN = re.compile(r"[\r\n,;\t]+")
NARROWEST_MM, WIDEST_MM = 15.0, 210.0  # of a label that a printer's roll has
SHEET_WORDS = [
    ("a4", "A4, 3 by 8 of 70 × 37 mm"),
    ("letter", "Letter, 3 by 10 of 66.7 × 25.4 mm"),
    ("single", "Label printer, one by one"),
]


class Names(forms.CharField):
    """Tags or serials with commas between, or one a line."""

    def __init__(self, **said: Any) -> None:
        box = forms.Textarea(attrs={"rows": 3})
        super().__init__(required=False, widget=box, max_length=20_000, **said)

    def clean(self, value: Any) -> Any:
        said = super().clean(value)
        return list(dict.fromkeys(one.strip() for one in BETWEEN.split(said) if one.strip()))


def _size(label: str, usual: float) -> forms.FloatField:
    return forms.FloatField(
        label=label,
        required=False,
        min_value=NARROWEST_MM,
        max_value=WIDEST_MM,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "data-unit": "mm"}),
        help_text=f"Of one label of a printer; empty: {usual:g}.",
    )


class LabelForm(forms.Form):
    """Whose labels, and on what; bound by what stands in the address."""

    modules = Names(label="Modules", help_text="Scan the tags, one a line, or with commas between.")
    packs = Names(label="Packs", help_text="Serials, likewise.")
    sheet = forms.ChoiceField(label="Sheet", choices=SHEET_WORDS, initial="a4")
    skip = forms.IntegerField(
        label="Places used already",
        required=False,
        min_value=0,
        max_value=29,
        help_text="Of the first sheet, row by row; they stay free.",
    )
    width = _size("Width", SINGLE[0])
    height = _size("Height", SINGLE[1])

    def clean(self) -> dict[str, Any]:
        said = self.cleaned_data
        asked = [*said.get("modules", ()), *said.get("packs", ())]
        if not asked and not self.errors:
            self.add_error("modules", "Name at least one module or pack.")
        if len(asked) > LABELS_MAX:
            self.add_error("modules", f"At most {LABELS_MAX} labels in one go.")
        if (said.get("skip") or 0) >= self.paper().count:
            self.add_error("skip", f"That sheet has {self.paper().count} places.")
        return said

    def paper(self) -> Sheet:
        """The sheet that is asked for."""
        said = self.cleaned_data
        if said.get("sheet") in SHEETS:
            return SHEETS[said["sheet"]]
        return single(said.get("width") or SINGLE[0], said.get("height") or SINGLE[1])


@page("modules")
def labels(request: HttpRequest) -> HttpResponse:
    """The labels that the address asks for as PDF; a form where it asks for none, or wrongly."""
    filled = LabelForm(_said(request)) if request.GET else LabelForm()
    if filled.is_bound and filled.is_valid():
        found = [*_of_modules(request, filled), *_of_packs(request, filled)]
        if not filled.errors:
            return _pdf(filled, found)
    return render(request, "packs/stock/labels.html", {"form": filled})


def _said(request: HttpRequest) -> dict[str, str]:
    given = {name: str(said) for name, said in request.GET.items() if said}
    return {"sheet": "a4", **given}


def _of_modules(request: HttpRequest, filled: LabelForm) -> list[Label]:
    asked = filled.cleaned_data["modules"]
    rows = Module.objects.filter(tag__in=asked).select_related("lot", "donor_pack")
    found = {row.tag: row for row in rows}
    _tell_unknown(filled, "modules", [tag for tag in asked if tag not in found])
    return [
        Label(
            address=request.build_absolute_uri(reverse("module", args=[tag])),
            kind="Module",
            name=tag,
            line=_line(found[tag]),
        )
        for tag in asked
        if tag in found
    ]


def _line(row: Module) -> str:
    told = [f"{row.get_form_display().lower()}, {row.cells} cells"]
    if row.generation:
        told.append(f"generation {row.generation}")
    if row.lot is not None:
        told.append(f"lot {row.lot.code}")
    if row.donor_pack is not None:
        told.append(f"out of {row.donor_pack.serial}")
    return ", ".join(told)


def _of_packs(request: HttpRequest, filled: LabelForm) -> list[Label]:
    asked = filled.cleaned_data["packs"]
    upper: list[str] = [serial.upper() for serial in asked]
    rows: dict[str, Pack] = {
        row.serial.upper(): row for row in names.packs().filter(serial__upper__in=upper)
    }
    _tell_unknown(filled, "packs", [one for one in asked if one.upper() not in rows])
    return [
        Label(
            address=request.build_absolute_uri(reverse("pack", args=[row.serial])),
            kind="Traction pack, high voltage",
            name=row.serial,
            line=f"type {row.pack_type.code}, {row.pack_type.module_count} modules",
        )
        for serial in upper
        if (row := rows.get(serial)) is not None
    ]


def _tell_unknown(filled: LabelForm, name: str, unknown: list[str]) -> None:
    if unknown:
        filled.add_error(name, f"Not recorded: {', '.join(unknown)}. Correct or leave out.")


def _pdf(filled: LabelForm, found: list[Label]) -> HttpResponse:
    content = as_pdf(
        found,
        filled.paper(),
        skip=filled.cleaned_data["skip"] or 0,
        region=translation.get_language()[-2:].upper(),
        at=timezone.now(),
    )
    named = {"Content-Disposition": 'inline; filename="labels.pdf"'}
    return HttpResponse(content, content_type="application/pdf", headers=named)
