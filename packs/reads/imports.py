"""Files of readings: how one is understood, which source it comes from, which there were."""

import hashlib
from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import islice
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import Count, QuerySet

from packs.errors import Contradiction, Fault, Malformed, NotFound, TooLarge
from packs.models import ImportFile, ImportSource, Pack, VoltageCheck
from packs.reads import sites
from packs.rules import columns as rules
from packs.rules.bounds import CODE_LENGTH
from packs.rules.check_entry import Wrong
from packs.rules.columns import Guess, Named
from packs.rules.identity import decode, encode
from packs.rules.import_lines import Layout, Line, read_lines
from packs.rules.import_settings import Settings, wrong_settings
from packs.rules.moments import are_instants, order_of
from packs.rules.spreadsheets import Sheet, Unreadable, line_count, open_sheet, unique

FILE_MAX = 20 * 1024 * 1024  # bytes of a file: some 100,000 checks; common practice, no source
SAMPLE_ROWS = 30  # looked at to guess; common practice, no source
NAMED_COLUMN = 100  # points of a row for each of its cells that is named; above what words give
GUESSED = {"level": "by_count"}


@dataclass(frozen=True)
class Reading:
    """A file, and how it is read."""

    digest: bytes
    sheet: Sheet
    layout: Layout

    def lines(self, *, after: int = 0) -> Iterator[Line]:
        """Its checks below line `after` of the file, where one ended, one at a time."""
        rows = (row for row in self.sheet.rows() if row[0] > after)
        return read_lines(rows, self.layout)

    def name_of(self, line: Line) -> str:
        """The external id of a line: of this file's content, and of its place in it."""
        return f"{beginning(self.digest)}{line.number}"


def beginning(digest: bytes) -> str:
    """How the external ids of a file's lines begin."""
    return f"import:{digest.hex()[:12]}:"


def understand(content: bytes, *, columns: Named, settings: Mapping[str, Any]) -> Reading:
    """How a file is read with these columns and settings; raises what stands against it."""
    refuse_wrong(columns, settings)
    said = Settings.of(settings)
    sheet = open_file(content, settings, columns=columns)
    places, missing = rules.find(columns, sheet.headers)
    wrong = [*missing, *rules.lacking(columns, said.fixed)]
    if wrong:
        raise Contradiction(_faults(wrong, "/columns"))
    zone = ZoneInfo(said.time_zone) if said.time_zone else sites.zone()
    return Reading(digest_of(content), sheet, Layout(sheet.headers, places, said, zone))


def digest_of(content: bytes) -> bytes:
    return hashlib.sha256(content).digest()


def refuse_wrong(columns: Named, settings: Mapping[str, Any]) -> None:
    """Raise Malformed for columns and settings that no file could have."""
    faults = _faults(rules.wrong_columns(columns), "/columns")
    faults += _faults(wrong_settings(settings), "/settings")
    if faults:
        raise Malformed(faults)


def _faults(wrong: Sequence[Wrong], below: str) -> list[Fault]:
    return [Fault(below + one.pointer, one.code, one.detail) for one in wrong]


def open_file(
    content: bytes, settings: Mapping[str, Any] | None = None, *, columns: Named | None = None
) -> Sheet:
    """The sheet of a file, its headers where most of the named columns are."""
    said = Settings.of(settings or {})
    if len(content) > FILE_MAX:
        told = (
            f"The file has over {FILE_MAX // 1024 // 1024} MB; export a shorter time, or part it."
        )
        raise TooLarge.at("/file", "file_too_large", told)
    with readable():
        return open_sheet(
            content,
            score=_score(columns or {}),
            encoding=said["encoding"],
            delimiter=said["delimiter"],
            header_row=said.header_row,
        )


def _score(columns: Named) -> Callable[[Sequence[str], Sequence[str]], int]:
    def score(cells: Sequence[str], below: Sequence[str]) -> int:
        missing = len(rules.find(columns, unique(cells))[1]) if columns else 0
        return rules.score(cells, below) + NAMED_COLUMN * (len(columns) - missing)

    return score


def sample(sheet: Sheet) -> list[list[str]]:
    """The first rows below the headers; Contradiction where they cannot be read."""
    with readable():
        return [cells for _, _, cells in islice(sheet.rows(), SAMPLE_ROWS)]


def read_through(sheet: Sheet) -> None:
    """Meet every line once; Contradiction where one cannot be read."""
    with readable():
        deque(sheet.rows(), maxlen=0)


@contextmanager
def readable() -> Iterator[None]:
    """What cannot be read of a file stands against it."""
    try:
        yield
    except Unreadable as error:
        raise Contradiction.at(error.pointer, error.code, error.detail) from error


def guess(sheet: Sheet) -> Guess:
    """The columns that the headers name in plain words, and what the first rows tell."""
    rows = sample(sheet)
    found = rules.guess(sheet.headers, rows)
    _add_by_cells(found, sheet, rows)
    settings = {**found.settings}
    for name in ("taken_at", "date"):
        header = found.columns.get(name)
        if isinstance(header, str):
            at = sheet.headers.index(header)
            order = order_of([row[at] for row in rows if at < len(row) and row[at]])
            settings |= {"dates": order} if order and order != "iso" else {}
    if "level" not in found.columns:
        settings.setdefault("level", GUESSED["level"])
    if "condition" not in found.columns and "current_a" in found.columns:
        settings["condition"] = "by_current"
    return Guess(found.columns, settings)


def _add_by_cells(found: Guess, sheet: Sheet, rows: list[list[str]]) -> None:
    """Columns whose headers say nothing, by what stands below: serials, dates with a time."""
    named = set(rules.find(found.columns, sheet.headers)[0].single.values())
    cells = {
        header: [row[place] for row in rows if place < len(row) and row[place]]
        for place, header in enumerate(sheet.headers)
        if place not in named
    }
    if "pack" not in found.columns:
        counted = _serials_in(cells)
        found.columns.update(
            {"pack": max(counted, key=lambda one: counted[one])} if counted else {}
        )
    if not {"taken_at", "date"} & set(found.columns):
        moments = (header for header in cells if cells[header] and are_instants(cells[header]))
        header = next(moments, None)
        found.columns.update({"taken_at": header} if header else {})


def _serials_in(cells: Mapping[str, list[str]]) -> dict[str, int]:
    """How many serials of recorded packs stand in each column that has any."""
    every = {cell.upper() for column in cells.values() for cell in column}
    packs = Pack.objects.filter(serial__upper__in=[one for one in every if len(one) <= CODE_LENGTH])
    known = {serial.upper() for serial in packs.values_list("serial", flat=True)}
    counted = {
        header: sum(cell.upper() in known for cell in column) for header, column in cells.items()
    }
    return {header: count for header, count in counted.items() if count}


def recognise(sheet: Sheet) -> ImportSource | None:
    """The source whose columns are all there, most of them; of two alike the newer one."""
    fitting = [
        (len(source.columns), source.pk, source)
        for source in ImportSource.objects.all()
        if source.columns
        and not rules.find(source.columns, sheet.headers)[1]
        and not rules.lacking(source.columns, {**Settings.of(source.settings).fixed, "pack": ""})
    ]
    return max(fitting, default=(0, 0, None), key=lambda one: one[:2])[2]


def files() -> QuerySet[ImportFile]:
    """Files without their content, newest first."""
    return ImportFile.objects.defer("content").select_related("source").order_by("-pk")


def handed_in_before(content: bytes) -> ImportFile | None:
    """The same content, handed in before from whatever source."""
    return files().filter(digest=digest_of(content)).first()


FILE_PREFIX = "if"  # of the opaque ids of files


def key_of(file: ImportFile) -> str:
    """The opaque id of a file."""
    return encode(FILE_PREFIX, file.pk)


def file(key: str) -> ImportFile:
    """The file behind an opaque id; NotFound where there is none."""
    number = decode(FILE_PREFIX, key)
    found = None if number is None else files().filter(pk=number).first()
    if found is None:
        raise NotFound.at("", "not_found", f"There is no file with the id '{key}' here.")
    return found


def stored_packs(file: ImportFile) -> list[tuple[str, int]]:
    """The packs that checks of a file were stored of, by serial, and how many of each."""
    rows = VoltageCheck.objects.filter(
        client=file.client_id, external_id__startswith=beginning(bytes(file.digest))
    )
    counted = rows.values_list("pack__serial").annotate(count=Count("pk"))
    return [(serial, count) for serial, count in counted.order_by("pack__serial")]


def length(file: ImportFile) -> int:
    """About how many lines a file has."""
    return line_count(bytes(file.content))
