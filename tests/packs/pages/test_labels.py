"""Labels: the code on each opens the page of what it names, as drawn and not only as meant."""

import io
import json
from typing import Any

import pypdf
import pytest
import typst
from PIL import Image

from packs.pages import label_sheets
from packs.pages.label_sheets import SHEETS, Label, Sheet, single
from tests import world
from tests.packs import heritage, qr
from tests.pages import inline, signed_in, text, words

pytestmark = pytest.mark.django_db
DOTS_PER_MM = 20
ADDRESS = "http://testserver/modules/M-77/"


def label(name: str = "M-77", address: str = ADDRESS) -> Label:
    return Label(address, "Module", name, "prismatic, 6 cells, lot L-7")


def picture(labels: list[Label], sheet: Sheet, skip: int = 0) -> Image.Image:
    """The first page as the printer gets it."""
    compiler = typst.Compiler(str(label_sheets.TEMPLATE), root=str(label_sheets.TEMPLATE.parent))
    asked = json.dumps(label_sheets._asked(labels, sheet, skip, "GB"))
    drawn: Any = compiler.compile(
        format="png", ppi=DOTS_PER_MM * 25.4, sys_inputs={"labels": asked}
    )
    pages = drawn if isinstance(drawn, list) else [drawn]
    return Image.open(io.BytesIO(pages[0])).convert("L")


def code_at(page: Image.Image, sheet: Sheet, place: int, modules: int) -> list[list[bool]]:
    """The code of the label at that place, each module looked at in its middle."""
    edge = label_sheets.EDGE_MM
    room = sheet.label_height - 2 * edge
    side = min(room, sheet.label_width * label_sheets.CODE_SHARE)
    left, top = sheet.corner(place)
    step = side / (modules + 2 * label_sheets.QUIET)
    first = edge + (label_sheets.QUIET + 0.5) * step

    def dark(row: int, column: int) -> bool:
        x, y = left + first + column * step, top + first + (room - side) / 2 + row * step
        said = page.getpixel((round(x * DOTS_PER_MM), round(y * DOTS_PER_MM)))
        assert isinstance(said, int)
        return said < 128

    return [[dark(row, column) for column in range(modules)] for row in range(modules)]


@pytest.mark.parametrize(
    "address",
    [
        "http://a.b/",
        ADDRESS,
        "https://register.example.org/modules/A%20LONG-TAG.77/",
        "http://x/" + "y" * 90,
    ],
)
def test_the_code_reads_as_the_address(address: str) -> None:
    """Read by a reader of its own, so that a wrong code can not pass for a right one."""
    matrix = [[bool(module) for module in row] for row in label_sheets.symbol(address).matrix]
    assert qr.read(matrix) == address


@pytest.mark.parametrize(
    ("sheet", "place"),
    [
        (SHEETS["a4"], 0),
        (SHEETS["a4"], 23),
        (SHEETS["letter"], 17),
        (single(62, 29), 0),
        (single(40, 20), 0),
    ],
)
def test_the_code_as_printed_reads_as_the_address(sheet: Sheet, place: int) -> None:
    page = picture([label()], sheet, skip=place)
    assert page.size == (round(sheet.width * DOTS_PER_MM), round(sheet.height * DOTS_PER_MM))
    size = len(label_sheets.symbol(ADDRESS).matrix)
    assert qr.read(code_at(page, sheet, place, size)) == ADDRESS


def test_labels_lie_on_the_sheet() -> None:
    for sheet in SHEETS.values():
        left, top = sheet.corner(0)
        right, bottom = sheet.corner(sheet.count - 1)
        assert min(left, top) >= 0
        assert right + sheet.label_width <= sheet.width
        assert bottom + sheet.label_height <= sheet.height


def printed(content: bytes) -> list[str]:
    pages = pypdf.PdfReader(io.BytesIO(content)).pages
    return [" ".join(page.extract_text().replace("\u200b", "").split()) for page in pages]


def test_the_address_names_modules_and_packs() -> None:
    heritage.spread()
    bench = signed_in("bench")
    answer = bench.get("/labels/?modules=A,C&packs=tp-0002&sheet=a4")
    assert (answer.status_code, answer["Content-Type"]) == (200, "application/pdf")
    (page,) = printed(answer.content)
    for said in (
        "Module A prismatic, 6 cells, lot L-7",
        "Module C",
        "TP-0002 type NM-28, 28 modules",
    ):
        assert said in page
    assert "high voltage" in page


def test_sheets_go_on_and_a_printer_takes_one_by_one() -> None:
    heritage.spread()
    bench = signed_in("bench")
    used = bench.get("/labels/?modules=A,C&sheet=letter&skip=29")
    assert [("Module A" in page, "Module C" in page) for page in printed(used.content)] == [
        (True, False),
        (False, True),
    ]
    rolled = bench.get("/labels/?modules=A,B,C&sheet=single&width=50&height=25")
    reader = pypdf.PdfReader(io.BytesIO(rolled.content))
    assert len(reader.pages) == 3
    box = reader.pages[0].mediabox
    assert (round(float(box.width) * 25.4 / 72, 1), round(float(box.height) * 25.4 / 72, 1)) == (
        50.0,
        25.0,
    )


def test_the_longest_name_stands_whole_on_the_smallest_label() -> None:
    name = "MODULE-TAG-OF-FORTY-LETTERS-0123456789.X"
    world.module(name)
    answer = signed_in("bench").get("/labels/", {"modules": name, "sheet": "single"})
    (page,) = printed(answer.content)
    assert name in page.replace(" ", "")


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ("modules=A,none", "Not recorded: none."),
        ("packs=none", "Not recorded: none."),
        ("sheet=a4", "Name at least one module or pack."),
        ("modules=A&sheet=a5", "Select a valid choice."),
        ("modules=A&sheet=a4&skip=24", "That sheet has 24 places."),
        ("modules=A&sheet=single&width=5", "greater than or equal to 15"),
        ("modules=" + ",".join(map(str, range(501))), "At most 500 labels in one go."),
    ],
)
def test_what_can_not_be_printed_is_told_at_its_field(asked: str, said: str) -> None:
    heritage.spread()
    html = text(signed_in("desk"), f"/labels/?{asked}")
    assert said in words(html)
    assert not inline(html)


def test_the_form_asks() -> None:
    assert "Make the PDF" in text(signed_in("desk"), "/labels/")
