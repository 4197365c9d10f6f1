"""Files of delimited text as testers write them: letters, delimiter, headers, rows (RFC 4180)."""

import csv
import io
import re
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice

LINE_MAX = 256 * 1024  # characters of one line; one of 2,000 voltages takes 16 kB
COLUMNS_MAX = 3000  # 2,000 positions and what stands beside them; common practice, no source
SAMPLE_ROWS = 60  # rows among which the header is looked for; common practice, no source
DELIMITERS = {"tab": "\t", "semicolon": ";", "comma": ","}
ENCODINGS = {"utf-8": "utf-8-sig", "utf-16": "utf-16", "windows-1252": "cp1252"}
FIGURE_MAX = 40  # characters of a number, a date or a time
AT_ONCE = 1 << 20  # characters looked through at a time

_CONTROL = re.compile(r"[\x00-\x08\x0b\x0e-\x1f]")
_FIGURE = re.compile(r"[-+]?[\d.,:/ T-]*\d[\d.,:/ T+Z-]*\Z")
_MARKS = (b"\xff\xfe", b"\xfe\xff")  # that a file in UTF-16 begins with

Row = tuple[int, int, list[str]]  # its first and last line in the file, from 1, and its cells
Score = Callable[[Sequence[str], Sequence[str]], int]


class Unreadable(ValueError):
    """A file that cannot be read as it is said to be; `code`, and a sentence to act on."""

    def __init__(self, code: str, detail: str, pointer: str = "/file") -> None:
        super().__init__(detail)
        self.code, self.detail, self.pointer = code, detail, pointer


@dataclass(frozen=True)
class Sheet:
    """A file understood: its letters, its delimiter, and where its headers stand."""

    content: bytes
    encoding: str
    delimiter: str
    header_line: int
    headers: tuple[str, ...]

    def rows(self) -> Iterator[Row]:
        """The rows below the headers that hold anything, one at a time."""
        for first, last, cells in _records(self.content, self.encoding, self.delimiter):
            if first > self.header_line and any(cell.strip() for cell in cells):
                yield first, last, [cell.strip() for cell in cells]


def open_sheet(
    content: bytes,
    *,
    score: Score,
    encoding: str = "auto",
    delimiter: str = "auto",
    header_row: int | None = None,
) -> Sheet:
    """Understand a file; what is not said is found out. Raises Unreadable.

    `score` says how much a row, with the one below it, looks like headers.
    """
    if not content.strip():
        raise Unreadable("empty", "The file is empty; choose the one that holds the readings.")
    letters = _letters(content) if encoding == "auto" else encoding
    _refuse_binary(content, letters)
    tried = DELIMITERS if delimiter == "auto" else {delimiter: DELIMITERS[delimiter]}
    found = [_headed(content, letters, name, score, header_row) for name in tried]
    best = max((one for one in found if one), key=lambda one: one[0], default=None)
    if best is None:
        raise Unreadable(
            "no_headers",
            "No row of headers was found: one row must name the columns, and readings stand below "
            "it. Say which line it is with the setting header_row, or add one.",
        )
    return best[1]


def _letters(content: bytes) -> str:
    if content[:2] in _MARKS:
        return "utf-16"
    try:
        content.decode("utf-8")
    except UnicodeDecodeError:
        return "windows-1252"
    return "utf-8"


def _refuse_binary(content: bytes, encoding: str) -> None:
    stream = io.TextIOWrapper(io.BytesIO(content), ENCODINGS[encoding], newline="")
    try:
        while text := stream.read(AT_ONCE):
            if _CONTROL.search(text):
                raise Unreadable(
                    "not_text",
                    "This is no file of text: it holds NUL or control characters. Save or export "
                    "it as CSV in UTF-8, and choose that.",
                )
    except UnicodeError as error:
        raise Unreadable(
            "not_text", f"The file can not be read as {encoding}; save it as CSV in UTF-8."
        ) from error


def _lines(stream: io.TextIOWrapper) -> Iterator[str]:
    number = 0
    while line := stream.readline(LINE_MAX + 1):
        number += 1
        if len(line) > LINE_MAX:
            raise Unreadable(
                "line_too_long", f"Line {number} has over {LINE_MAX} characters; split the file."
            )
        yield line


def _records(content: bytes, encoding: str, delimiter: str) -> Iterator[Row]:
    stream = io.TextIOWrapper(io.BytesIO(content), ENCODINGS[encoding], newline="")
    mark = DELIMITERS[delimiter]
    reader = csv.reader(_lines(stream), delimiter=mark, strict=True, skipinitialspace=mark != "\t")
    before = 0
    try:
        for cells in reader:
            if len(cells) > COLUMNS_MAX:
                told = f"Line {reader.line_num} has over {COLUMNS_MAX} columns; export fewer."
                raise Unreadable("too_many_columns", told)
            yield before + 1, reader.line_num, cells
            before = reader.line_num
    except csv.Error as error:
        raise Unreadable(
            "bad_quoting",
            f"Line {before + 1} can not be read: a quotation mark is not closed, or stands in the "
            f"middle of a cell ({error}).",
        ) from error


def _headed(
    content: bytes, encoding: str, delimiter: str, score: Score, said: int | None
) -> tuple[int, Sheet] | None:
    """The best row of headers with that delimiter, and how much it looks like one."""
    try:
        taken = list(islice(_records(content, encoding, delimiter), (said or 0) + SAMPLE_ROWS))
    except Unreadable as error:
        if error.code != "bad_quoting":
            raise
        return None
    rows = [(first, [cell.strip() for cell in cells]) for first, _, cells in taken]
    rows = [(first, cells) for first, cells in rows if any(cells)]
    scored = []
    for place, (first, cells) in enumerate(rows):
        below = rows[place + 1][1] if place + 1 < len(rows) else []
        if said is None and sum(bool(cell) for cell in cells) < 2:
            continue
        if said is None or said == first:
            scored.append((score(cells, below), -first, cells))
    if not scored:
        return None
    points, minus_line, cells = max(scored)
    headers = unique(cells)
    return points, Sheet(content, encoding, delimiter, -minus_line, headers)


def unique(cells: Sequence[str]) -> tuple[str, ...]:
    """Headers that can be told apart: a blank one by its place, like ones by their count."""
    named = [" ".join(cell.split()) or f"column {place}" for place, cell in enumerate(cells, 1)]
    while len(named) > 1 and named[-1] == f"column {len(named)}":
        named.pop()
    total, met = Counter(named), Counter[str]()
    result = []
    for name in named:
        met[name] += 1
        result.append(f"{name} ({met[name]})" if total[name] > 1 else name)
    return tuple(result)


def line_count(content: bytes) -> int:
    """About how many lines a file has."""
    return max(content.count(b"\n"), content.count(b"\r")) + 1


def is_figure(cell: str) -> bool:
    """Whether a cell holds a number, a date or a time."""
    return len(cell) <= FIGURE_MAX and bool(_FIGURE.match(cell))


def defused(cell: str) -> str:
    """A cell that no spreadsheet takes for a formula; a plain number stays one."""
    formula = cell[:1] in ("=", "+", "-", "@", "\t", "\r", "\n")
    return f"'{cell}" if formula and not re.fullmatch(r"[-+]?\d+([.,]\d+)?", cell) else cell
