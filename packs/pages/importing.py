"""Importing a tester's file: hand it in, name its columns once, try it, store what is good."""

import csv
import io
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from time import monotonic
from typing import Any

from django.contrib import messages
from django.core.files.uploadedfile import UploadedFile
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect, StreamingHttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import NoReverseMatch, reverse
from django.utils import timezone

from packs.errors import DomainError, Fault, TooLarge
from packs.models import ImportFile, ImportSource
from packs.pages.doors import actor, form
from packs.pages.forms import worded
from packs.pages.import_forms import VOLTAGE, ColumnsForm, FileForm
from packs.reads import imports as files
from packs.reads import names
from packs.rules.bounds import CODE_LENGTH
from packs.rules.spreadsheets import Sheet, defused
from packs.writes import import_sources, imports
from packs.writes.imports import REFUSED, REPEATED, STORED, Refusal, Verdict

WORK_FOR_S = 5.0  # of one request; common practice, no source
PER_PAGE = 50  # lines of a kind on one page
RECENT = 10  # files listed
CONDITIONS = {"rest": "at rest", "load": "under load", "charge": "on charge"}
FIRST_ROWS = 3  # of a file, beside its columns


@form("import-sources")
def begin(request: HttpRequest) -> HttpResponse:
    """Hand a file in; one that is known is shown as it stands."""
    entry = FileForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and entry.is_valid():
        try:
            return _handed_in(request, entry)
        except DomainError as error:
            entry.refuse(error)
    recent = [(files.key_of(row), row) for row in files.files()[:RECENT]]
    return render(request, "packs/import/begin.html", {"form": entry, "recent": recent})


def _handed_in(request: HttpRequest, entry: FileForm) -> HttpResponse:
    upload, code = entry.cleaned_data["file"], entry.cleaned_data["source"]
    content = _content(upload)
    before = files.handed_in_before(content)
    if before is not None and code in ("", before.source.code):
        messages.info(request, "This file was handed in before; here is what became of it.")
        return redirect("import-file", key=files.key_of(before))
    sheet = files.open_file(content)
    files.read_through(sheet)
    source = names.import_source(code) if code else files.recognise(sheet)
    new = source is None
    if source is None:
        source = _new_source(request, sheet, entry.cleaned_data["name"])
    row = imports.hand_in(
        by=actor(request), at=timezone.now(), source=source, name=upload.name or "", content=content
    ).row
    ask = new or "pack" not in source.columns
    return redirect("import-columns" if ask else "import-file", key=files.key_of(row))


def _content(upload: "UploadedFile[bytes]") -> bytes:
    if (upload.size or 0) > files.FILE_MAX:
        told = f"The file has over {files.FILE_MAX // 1024 // 1024} MB; export a shorter time."
        raise TooLarge.at("/file", "file_too_large", told)
    return bytes(upload.read())


def _new_source(request: HttpRequest, sheet: Sheet, name: str) -> ImportSource:
    """A source with what the headers say, under a code that is free."""
    guess = files.guess(sheet)
    told = name.strip() or f"Tester {ImportSource.objects.count() + 1}"
    bare = re.sub(r"[^a-z0-9]+", "-", told.lower()).strip("-")[: CODE_LENGTH - 5] or "tester"
    taken = set(ImportSource.objects.filter(code__startswith=bare).values_list("code", flat=True))
    code = next(one for one in _numbered(bare) if one not in taken)
    entry = {"code": code, "name": told, "columns": guess.columns, "settings": guess.settings}
    return import_sources.keep_source(by=actor(request), at=timezone.now(), entry=entry).row


def _numbered(bare: str) -> Iterator[str]:
    yield bare
    number = 2
    while True:
        yield f"{bare}-{number}"
        number += 1


@form("import-sources")
def columns(request: HttpRequest, key: str) -> HttpResponse:
    """What each column holds; kept for every later file of the same tester."""
    row = files.file(key)
    source, content = row.source, bytes(row.content)
    sheet = files.open_file(content, source.settings, columns=source.columns)
    asked = {} if "pack" in source.columns or row.lines_done else {"settings__pack": ""}
    entry = ColumnsForm(sheet.headers, source, request.POST or None, initial=asked)
    if request.method == "POST" and entry.is_valid():
        answer = _named(request, entry, row, content)
        if answer is not None:
            return answer
    context = {"form": entry, "file": row, "key": key, "sheet": sheet, **_rows(entry, sheet)}
    return render(request, "packs/import/columns.html", context)


def _rows(entry: ColumnsForm, sheet: Sheet) -> dict[str, Any]:
    """The columns with their first cells: the voltages apart, as they may be many."""
    sample = files.sample(sheet)[:FIRST_ROWS]
    told = [
        (
            entry[f"column__{place}"],
            [cells[place] for cells in sample if place < len(cells) and cells[place]],
        )
        for place in range(len(sheet.headers))
    ]
    volts = [one for one in told if one[0].value() == VOLTAGE]
    apart = volts if len(volts) >= FIRST_ROWS else []
    return {"volts": apart, "others": [one for one in told if one not in apart]}


def _named(
    request: HttpRequest, entry: ColumnsForm, row: ImportFile, content: bytes
) -> HttpResponse | None:
    """Keep what was said; None where it cannot be, which the form then tells."""
    said = entry.said_columns()
    settings = entry.said_settings(said)
    if not entry.is_valid():
        return None
    try:
        if entry.reads_anew():
            sheet = files.open_file(content, settings)
            said = dict(files.guess(sheet).columns)
        else:
            files.understand(content, columns=said, settings=settings)
        changes = {"columns": said, "settings": settings}
        if (row.source.columns, row.source.settings) != (said, settings):
            version = row.source.version
            import_sources.change_source(
                row.source, by=actor(request), at=timezone.now(), version=version, changes=changes
            )
    except DomainError as error:
        entry.refuse_columns(error)
        return None
    page = "import-columns" if entry.reads_anew() else "import-file"
    return redirect(page, key=files.key_of(row))


@dataclass
class Tried:
    """What became, or would become, of the lines that were looked at in the time of a page."""

    counts: Counter[str] = field(default_factory=Counter)
    refused: list[Verdict] = field(default_factory=list)
    good: list[Verdict] = field(default_factory=list)
    unknown: Counter[str] = field(default_factory=Counter)
    unknown_packs: dict[str, int] = field(default_factory=dict)
    ways: Counter[tuple[str, str]] = field(default_factory=Counter)
    last: int = 0
    whole: bool = True

    def take(self, verdict: Verdict, refused: int, good: int) -> None:
        """Count a verdict; keep it where it stands on the pages asked for."""
        self.counts[verdict.word] += 1
        self.last = verdict.last
        self.unknown[verdict.serial] += verdict.unknown_pack
        bad = verdict.word == REFUSED
        if not bad:
            self.ways[verdict.how[:2]] += 1
        place = self.counts[REFUSED] if bad else self.counts[STORED] + self.counts[REPEATED]
        if (place - 1) // PER_PAGE == (refused if bad else good) - 1:
            (self.refused if bad else self.good).append(_told(verdict))

    @property
    def told_ways(self) -> list[tuple[int, str]]:
        """How many at which level and condition, most first: whether the file is meant so."""
        return [
            (count, f"{level} level {CONDITIONS[condition]}")
            for (level, condition), count in self.ways.most_common()
        ]

    @property
    def fine(self) -> int:
        return self.counts[STORED] + self.counts[REPEATED]


def _told(verdict: Verdict) -> Verdict:
    """A verdict in the words of the pages."""
    return replace(verdict, refusals=tuple(_worded(one, verdict) for one in verdict.refusals))


def _worded(refusal: Refusal, verdict: Verdict) -> Refusal:
    fault = Fault("", refusal.code, refusal.detail)
    return replace(refusal, detail=worded(fault, verdict.serial))


def _tried(row: ImportFile, *, after: int = 0, refused: int = 1, good: int = 1) -> Tried:
    tried, until = Tried(), monotonic() + WORK_FOR_S
    batches = imports.try_out(
        imports.reading_of(row), by=imports.sender_of(row), at=timezone.now(), after=after
    )
    for verdicts in batches:
        for verdict in verdicts:
            tried.take(verdict, refused, good)
        if monotonic() > until:
            tried.whole = len(verdicts) < imports.BATCH
            break
    tried.unknown_packs = dict(+tried.unknown)
    return tried


@form("import-sources")
def file(request: HttpRequest, key: str) -> HttpResponse:
    """A file: tried out, being stored, or stored."""
    row = files.file(key)
    context: dict[str, Any] = {"file": row, "key": key, "length": files.length(row)}
    if row.lines_done and row.finished_at is None:
        return render(request, "packs/import/progress.html", context)
    after, refused, good = (_number(request, name) for name in ("after", "refused", "good"))
    try:
        if row.finished_at is None or row.refused:
            context["tried"] = _tried(row, after=after, refused=refused or 1, good=good or 1)
            context["pages"] = _pages(context["tried"], after, refused or 1, good or 1)
            context["reading"] = imports.reading_of(row)
    except DomainError as error:
        if row.finished_at is None:
            messages.error(request, f"{error}")
            return redirect("import-columns", key=key)
    context["after"] = after
    if row.finished_at is not None:
        context["packs"] = files.stored_packs(row)
        return render(request, "packs/import/result.html", context)
    context["check_in"] = _check_in()
    return render(request, "packs/import/trial.html", context)


def _number(request: HttpRequest, name: str) -> int:
    said = request.GET.get(name, "")
    return int(said) if said.isascii() and said.isdecimal() and len(said) < 9 else 0


def _pages(tried: Tried, after: int, refused: int, good: int) -> dict[str, str]:
    """Where the next lines of either kind stand."""
    ways = {}
    if tried.counts[REFUSED] > refused * PER_PAGE:
        ways["more_refused"] = f"?after={after}&refused={refused + 1}&good={good}"
    if tried.fine > good * PER_PAGE:
        ways["more_good"] = f"?after={after}&refused={refused}&good={good + 1}#good"
    if not tried.whole:
        ways["further"] = f"?after={tried.last}"
    return ways


def _check_in() -> str:
    try:
        return reverse("check-in")
    except NoReverseMatch:
        return ""


@form("import-sources")
def store(request: HttpRequest, key: str) -> HttpResponse:
    """Store the good lines, as many as the time of one request takes."""
    row = files.file(key)
    if request.method == "POST":
        begun = row.lines_done > 0
        if not begun and request.POST.get("version") != str(row.source.version):
            messages.error(request, "The columns were changed meanwhile; look at the lines again.")
            return _back(key)
        until = monotonic() + WORK_FOR_S
        try:
            for _ in imports.carry_on(row, at=timezone.now):
                if monotonic() > until:
                    break
        except DomainError as error:
            messages.error(request, f"{error}")
    return _back(key)


@form("import-sources")
def again(request: HttpRequest, key: str) -> HttpResponse:
    """Go over a stored file anew: what was refused may be taken now."""
    row = files.file(key)
    if request.method == "POST":
        imports.begin_again(row)
    return _back(key)


def _back(key: str) -> HttpResponseRedirect:
    return HttpResponseRedirect(reverse("import-file", args=[key]))


@form("import-sources")
def refused(request: HttpRequest, key: str) -> HttpResponseBase:
    """The lines that are refused, as CSV, each with why; no cell is a formula."""
    row = files.file(key)
    try:
        reading = imports.reading_of(row)
    except DomainError as error:
        messages.error(request, f"{error}")
        return redirect("import-columns", key=key)
    tried = imports.try_out(reading, by=imports.sender_of(row), at=timezone.now())
    answer = StreamingHttpResponse(
        _csv(tried, reading.sheet.headers), content_type="text/csv; charset=utf-8"
    )
    answer.headers["Content-Disposition"] = f'attachment; filename="refused-{key}.csv"'
    return answer


def _csv(tried: Iterator[list[Verdict]], headers: tuple[str, ...]) -> Iterator[str]:
    yield "\ufeff" + _csv_row(["line", "column", "why", *headers])
    for verdicts in tried:
        for verdict in map(_told, verdicts):
            for refusal in verdict.refusals:
                told = [str(verdict.number), refusal.header, refusal.detail]
                yield _csv_row([*told, *verdict.cells])


def _csv_row(cells: list[str]) -> str:
    out = io.StringIO()
    csv.writer(out).writerow([defused(cell) for cell in cells])
    return out.getvalue()
