"""A tester's file on its way into a test: kept in the form, its columns chosen, then counted.

The file goes back and forth with the form, packed, until it is stored: nothing waits on the server.
"""

import zlib
from base64 import b64decode, b64encode
from binascii import Error as NotBase64
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import islice
from typing import Any

from django import forms
from django.http import HttpRequest

from packs.errors import Contradiction, TooLarge
from packs.reads import sites
from packs.reads.imports import FILE_MAX, SAMPLE_ROWS, readable
from packs.rules import columns, series_files
from packs.rules.series_files import COLUMNS, OPTIONS, Guess, Read
from packs.rules.spreadsheets import Sheet, open_sheet

FIRST_ROWS = 3  # shown of a file
WORDS: Mapping[str, Mapping[str, str]] = {
    "time_unit": {
        "s": "seconds",
        "ms": "milliseconds",
        "min": "minutes",
        "h": "hours",
        "hms": "a clock from the begin, such as 1:02:03",
        "instant": "date and time",
    },
    "current_unit": {"a": "amperes", "ma": "milliamperes"},
    "voltage_unit": {"v": "volts", "mv": "millivolts"},
    "positive": {"out": "out of the module (discharge)", "in": "into the module (charge)"},
    "decimal": {"point": "point", "comma": "comma"},
    "dates": {
        "iso": "the year first",
        "day_month": "the day first",
        "month_day": "the month first",
    },
}
LABELS = {
    "seconds": "Time",
    "current_a": "Current",
    "voltage_v": "Voltage",
    "time_unit": "Times are in",
    "current_unit": "Currents are in",
    "voltage_unit": "Voltages are in",
    "positive": "A positive current flows",
    "decimal": "Decimal mark",
    "dates": "Dates are written with",
}


@dataclass(frozen=True)
class Upload:
    """A file that can be read: its headers and first rows, and what they look to be."""

    content: bytes
    sheet: Sheet
    sample: tuple[tuple[str, ...], ...]
    guess: Guess
    fresh: bool

    @property
    def kept(self) -> str:
        """The file as the form carries it."""
        return b64encode(zlib.compress(self.content)).decode()

    def filled(self) -> dict[str, str]:
        """The fields of the form, as the file looks to be meant."""
        usual = {name: options[0] for name, options in OPTIONS.items()}
        settings = {**usual, **self.guess.settings}
        if not series_files.lacking(self.guess.columns):
            with readable():
                read = self._read(self.guess.columns, settings)
            settings["positive"] = series_files.way_out(read.curve)
        chosen = {f"column__{use}": str(place) for use, place in self.guess.columns.items()}
        return {**chosen, **{f"setting__{name}": value for name, value in settings.items()}}

    def series(self, chosen: Mapping[str, str], settings: Mapping[str, Any]) -> Read:
        """The series by the columns that were chosen; Contradiction where it cannot be read."""
        with readable():
            return self._read({use: int(place) for use, place in chosen.items()}, settings)

    def _read(self, places: Mapping[str, int], settings: Mapping[str, Any]) -> Read:
        meant = series_files.settings_of(settings, sites.zone())
        return series_files.read(self.sheet.rows(), places, meant)


def sent(request: HttpRequest) -> Upload | None:
    """The file of this request, chosen just now or kept from before; None where there is none."""
    chosen = request.FILES.get("file")
    if chosen is not None:
        if (chosen.size or 0) > FILE_MAX:
            raise _too_large()
        return _understood(bytes(chosen.read()), fresh=True)
    kept = request.POST.get("kept", "")
    return _understood(_unpacked(kept), fresh=False) if kept else None


def _unpacked(kept: str) -> bytes:
    try:
        unpacker = zlib.decompressobj()
        content = unpacker.decompress(b64decode(kept, validate=True), FILE_MAX)
    except (NotBase64, zlib.error) as error:
        told = "The file did not come through whole; choose it again."
        raise Contradiction.at("/file", "not_whole", told) from error
    if unpacker.unconsumed_tail:
        raise _too_large()
    return content


def _too_large() -> TooLarge:
    told = f"The file has over {FILE_MAX // 1024**2} MB; export it with longer steps."
    return TooLarge.at("/file", "file_too_large", told)


def _understood(content: bytes, *, fresh: bool) -> Upload:
    with readable():
        sheet = open_sheet(content, score=columns.score)
        rows = [tuple(cells) for _, _, cells in islice(sheet.rows(), SAMPLE_ROWS)]
    return Upload(content, sheet, tuple(rows), series_files.guess(sheet.headers, rows), fresh)


def fields_for(upload: Upload) -> dict[str, forms.Field]:
    """What is asked of a file: which column is what, and how its figures are meant."""
    headers = [(str(place), header) for place, header in enumerate(upload.sheet.headers)]
    fields: dict[str, forms.Field] = {
        f"column__{use}": forms.ChoiceField(
            label=f"{LABELS[use]} stands in", choices=[("", "Which column?"), *headers]
        )
        for use in COLUMNS
    }
    for name, words in WORDS.items():
        fields[f"setting__{name}"] = forms.ChoiceField(label=LABELS[name], choices=[*words.items()])
    return fields
