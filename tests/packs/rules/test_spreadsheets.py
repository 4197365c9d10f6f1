"""Understanding files of delimited text, and refusing what is none."""

import csv
import io

import pytest

from packs.rules import columns
from packs.rules.spreadsheets import LINE_MAX, Unreadable, defused, is_figure, open_sheet, unique


def opened(content: bytes | str, **said: object) -> object:
    raw = content.encode() if isinstance(content, str) else content
    return open_sheet(raw, score=columns.score, **said)  # type: ignore[arg-type]


def refusal(content: bytes | str, **said: object) -> str:
    with pytest.raises(Unreadable) as refused:
        list(opened(content, **said).rows())  # type: ignore[attr-defined]
    return refused.value.code


HEAD = "pack,time,V1,V2,V3"


@pytest.mark.parametrize(
    ("content", "code"),
    [
        (b"", "empty"),
        (b"  \r\n\r\n", "empty"),
        (b"\x89PNG\r\n\x1a\n\x00\x00", "not_text"),
        (f"{HEAD}\nP-1,2024\x00,1,2,3\n".encode(), "not_text"),
        (HEAD.encode("utf-16-le"), "not_text"),
        (b"\xff\xfe\x00\xd8\x00", "not_text"),
        (f"{HEAD}\n\x81\x8d\n".encode("latin-1"), "not_text"),
        (f"{HEAD}\n{'9' * (LINE_MAX + 1)}\n", "line_too_long"),
        (HEAD + "\n" + ",".join(["1"] * 10_000) + "\n", "too_many_columns"),
        (",".join(f"c{n}" for n in range(10_000)) + "\n", "too_many_columns"),
        (f'{HEAD}\nP-1,"2024,1,2,3\nP-2,2024,1,2,3\n', "no_headers"),
        ("one\ntwo\nthree\n", "no_headers"),
    ],
)
def test_what_is_no_file_of_readings_is_told(content: bytes | str, code: str) -> None:
    assert refusal(content) == code


def test_a_quotation_mark_left_open_further_down_is_told_by_its_line() -> None:
    rows = "".join(f"P-{n},2024,1,2,3\n" for n in range(100))
    text = f'{HEAD}\n{rows}P-x,"2024,1,2,3\nP-y,2024,1,2,3\n'
    with pytest.raises(Unreadable, match="Line 102 can not be read") as refused:
        list(opened(text).rows())  # type: ignore[attr-defined]
    assert refused.value.code == "bad_quoting"


def test_only_headers_are_a_sheet_without_rows() -> None:
    sheet = opened(HEAD)
    assert sheet.headers == ("pack", "time", "V1", "V2", "V3")  # type: ignore[attr-defined]
    assert list(sheet.rows()) == []  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("encoding", "told"),
    [("utf-8", "utf-8"), ("utf-8-sig", "utf-8"), ("utf-16", "utf-16"), ("cp1252", "windows-1252")],
)
@pytest.mark.parametrize("mark", [",", ";", "\t"])
def test_letters_and_delimiter_are_found(encoding: str, told: str, mark: str) -> None:
    text = f"Größe{mark}V1{mark}V2{mark}V3\r\nP-1{mark}7.9{mark}7.8{mark}7.7\r\n"
    sheet = opened(text.encode(encoding))
    assert sheet.encoding == told  # type: ignore[attr-defined]
    assert sheet.headers[0] == "Größe"  # type: ignore[attr-defined]
    assert [cells for _, _, cells in sheet.rows()] == [["P-1", "7.9", "7.8", "7.7"]]  # type: ignore[attr-defined]


def test_rows_carry_the_lines_of_the_file() -> None:
    text = f'made by hand\n\n{HEAD}\nP-1,"two\nlines",1,2,3\n\n,,,,\nP-2,t,1,2,3\n'
    sheet = opened(text)
    assert sheet.header_line == 3  # type: ignore[attr-defined]
    assert [(first, last) for first, last, _ in sheet.rows()] == [(4, 5), (8, 8)]  # type: ignore[attr-defined]


def test_the_row_of_headers_can_be_said() -> None:
    text = "pack,time,V1,V2,V3\na,b,c,d,e\nP-1,t,1,2,3\n"
    assert opened(text).header_line == 1  # type: ignore[attr-defined]
    said = opened(text, header_row=2)
    assert (said.header_line, said.headers[0]) == (2, "a")  # type: ignore[attr-defined]
    assert refusal(text, header_row=9) == "no_headers"


def test_like_and_blank_headers_are_told_apart() -> None:
    assert unique(["V", "", "V", " a  b ", "", ""]) == ("V (1)", "column 2", "V (2)", "a b")


@pytest.mark.parametrize("cell", ["7.95", "-7,95", "2024-03-05 10:00", "5.3.2026", "10:00:05"])
def test_figures(cell: str) -> None:
    assert is_figure(cell)


def test_words_are_no_figures() -> None:
    assert not is_figure("V1")
    assert not is_figure("9" * 200_000)


@pytest.mark.parametrize("cell", ["=1+1", "+A1", "-A1", "@SUM(1)", "\t=1", "-1+1"])
def test_no_cell_is_a_formula(cell: str) -> None:
    assert defused(cell) == f"'{cell}"


@pytest.mark.parametrize("cell", ["-3.2", "+4,1", "7", "P-1", ""])
def test_a_plain_cell_stays(cell: str) -> None:
    assert defused(cell) == cell
    assert next(csv.reader(io.StringIO(f'"{defused(cell)}"'))) == [cell]
