"""Labels to stick on: a QR code that opens a page, the name in plain text, and a line to read.

Measures are mm. A sheet is a paper with labels of one size in rows; a label printer's roll is a
sheet of one.
"""

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path

import segno
import typst

from packs.pages.papers import printing

TEMPLATE = Path(__file__).with_name("labels.typ")
CORRECTION = "m"  # 15 % of a code may be worn off (ISO/IEC 18004, level M)
QUIET = 4  # modules of white round a code (ISO/IEC 18004)
EDGE_MM = 2.0  # kept free at the edge of a label; common practice, no source
CODE_SHARE = 0.45  # of the width of a label that its code may take; common practice, no source
LETTER_MM = 0.58 * 0.3528  # width of a bold letter for each point of its size, about
LARGEST_PT, SMALLEST_PT = 16.0, 7.5
MAY_BREAK = "\u200b"  # zero width space


@dataclass(frozen=True)
class Label:
    """What one label says: the address that its code opens, what it is, its name, a line."""

    address: str
    kind: str
    name: str
    line: str


@dataclass(frozen=True)
class Sheet:
    """A paper and its labels; the margins are what is left beside them, in equal parts."""

    width: float
    height: float
    columns: int
    rows: int
    label_width: float
    label_height: float
    gutter: float = 0.0

    @property
    def count(self) -> int:
        return self.columns * self.rows

    def corner(self, place: int) -> tuple[float, float]:
        """Where the label at that place, row by row from 0, begins."""
        row, column = divmod(place, self.columns)
        across = self.columns * self.label_width + (self.columns - 1) * self.gutter
        left, top = (self.width - across) / 2, (self.height - self.rows * self.label_height) / 2
        return left + column * (self.label_width + self.gutter), top + row * self.label_height


SHEETS = {
    "a4": Sheet(210.0, 297.0, 3, 8, 70.0, 37.0),
    "letter": Sheet(215.9, 279.4, 3, 10, 66.7, 25.4, gutter=3.1),
}
"""Common sheets of labels by their measures: A4, 3 by 8; Letter, 3 by 10. Common practice, no
source."""

SINGLE = (62.0, 29.0)  # of a label printer's roll; common practice, no source


def single(width: float, height: float) -> Sheet:
    """One label a page, for a label printer."""
    return Sheet(width, height, 1, 1, width, height)


def symbol(address: str) -> segno.QRCode:
    """The QR code of an address (ISO/IEC 18004)."""
    return segno.make_qr(address, error=CORRECTION, boost_error=False)


def drawn(address: str) -> str:
    """That code as SVG, its quiet zone included."""
    written = BytesIO()
    symbol(address).save(written, kind="svg", border=QUIET, xmldecl=False, svgns=True)
    return written.getvalue().decode()


def as_pdf(
    labels: Sequence[Label], sheet: Sheet, *, skip: int = 0, region: str, at: datetime
) -> bytes:
    """The labels on as many pages as it takes, `skip` places of the first page left free."""
    compiler = typst.Compiler(str(TEMPLATE), root=str(TEMPLATE.parent), font_paths=printing.fonts())
    made = compiler.compile(
        format="pdf",
        sys_inputs={"labels": json.dumps(_asked(labels, sheet, skip, region))},
        timestamp=at.astimezone(UTC).replace(microsecond=0),
    )
    assert isinstance(made, bytes)
    return made


def _asked(labels: Sequence[Label], sheet: Sheet, skip: int, region: str) -> dict[str, object]:
    side = min(sheet.label_height - 2 * EDGE_MM, sheet.label_width * CODE_SHARE)
    room = sheet.label_width - side - 3 * EDGE_MM
    placed = [
        {**_told(label, room), "page": place // sheet.count, "corner": corner}
        for place, label in enumerate(labels, skip)
        for corner in [sheet.corner(place % sheet.count)]
    ]
    return {
        "sheet": asdict(sheet),
        "side": side,
        "edge": EDGE_MM,
        "region": region,
        "labels": placed,
    }


def _told(label: Label, room: float) -> dict[str, object]:
    """The label with its code drawn and the size of its name, which may break in two lines."""
    fitting = room / (LETTER_MM * max(len(label.name), 1))
    size = min(LARGEST_PT, max(SMALLEST_PT, fitting))
    name = label.name if fitting >= SMALLEST_PT else _breakable(label.name)
    return {**asdict(label), "name": name, "code": drawn(label.address), "size": size}


def _breakable(name: str) -> str:
    """The name, where it may go on in the next line after every letter."""
    return MAY_BREAK.join(name)
