"""From rows to entries: every form of file says the same."""

from typing import Any
from zoneinfo import ZoneInfo

import pytest

from packs.rules import columns
from packs.rules.check_entry import wrong_in
from packs.rules.import_lines import Layout, Line, read_lines
from packs.rules.import_settings import Settings
from packs.rules.spreadsheets import open_sheet
from tests.packs.testers import CHECKS, TESTERS, MadeFile, volts

UTC = ZoneInfo("UTC")


def layout_of(
    content: bytes, named: dict[str, Any], said: dict[str, Any]
) -> tuple[Layout, list[Line]]:
    sheet = open_sheet(content, score=columns.score)
    places, missing = columns.find(named, sheet.headers)
    assert missing == []
    layout = Layout(sheet.headers, places, Settings.of(said), UTC)
    return layout, list(read_lines(sheet.rows(), layout))


@pytest.mark.parametrize("tester", TESTERS, ids=lambda tester: tester.name)
def test_every_form_says_the_same(tester: MadeFile) -> None:
    _, lines = layout_of(tester.content, tester.columns, tester.settings)
    assert [line.wrong for line in lines] == [()] * len(CHECKS)
    for line, (serial, when, condition, current) in zip(lines, CHECKS, strict=True):
        said = line.entry
        assert (said["pack"], said["taken_at"]) == (serial, when)
        assert (said["condition"], said["current_a"]) == (condition, current)
        assert said["voltages_v"] == volts(serial, condition)
        level = {**said, "level": "block" if said["level"] == "by_count" else said["level"]}
        assert wrong_in(level) == []


def test_units_of_what_stands_beside_are_ours() -> None:
    (american,) = [one for one in TESTERS if one.name == "american"]
    _, lines = layout_of(american.content, american.columns, american.settings)
    assert (lines[0].entry["temperature_c"], lines[0].entry["odometer_km"]) == (20.0, 1609)


NAMED = {"pack": "pack", "taken_at": "time", "current_a": "A", "voltages_v": "V#"}
SAID = {"level": "block", "condition": "rest"}


def one_line(
    cells: str, named: dict[str, Any] | None = None, said: dict[str, Any] | None = None
) -> tuple[Layout, Line]:
    text = f"pack;time;A;V1;V2;V3;extra\n{cells}\n"
    layout, lines = layout_of(text.encode(), named or NAMED, {**SAID, **(said or {})})
    return layout, lines[0]


GOOD = "P-1;2026-03-05T10:00Z;0"


@pytest.mark.parametrize("unread", ["", "-", "NaN", "n/a", "OL", "ERR", "null"])
def test_what_could_not_be_read_is_null(unread: str) -> None:
    _, line = one_line(f"{GOOD};15.8;{unread};15.9")
    assert (line.entry["voltages_v"], line.wrong) == ([15.8, None, 15.9], ())


@pytest.mark.parametrize(
    ("cells", "said", "header", "code", "words"),
    [
        (f"{GOOD};15.8;odd;15.9", {}, "V2", "not_a_number", "'odd' is no number"),
        (f"{GOOD};15.8;15.7 mV;15.9", {}, "V2", "not_a_number", "bears the unit mV"),
        (f"{GOOD};15.8;15,7;15.9", {"decimal": "point"}, "V2", "not_a_number", "set decimal"),
        (f"{GOOD};15,8;15.7;15,9", {"decimal": "comma"}, "V2", "not_a_number", "set decimal"),
        (f"{GOOD};15.8;1e999;15.9", {}, "V2", "not_a_number", "no finite number"),
        (f"{GOOD};15.8;1,234.5;15.9", {}, "V2", "not_a_number", "no number"),
        ("P-1;soon;0;15.8;15.7;15.9", {}, "time", "not_a_date", "'soon' is no date"),
        ("P-1;5.3.2026 10:00;0;15.8;15.7;15.9", {}, "time", "ambiguous_date", "setting dates"),
        ("P-1;2026-03-05T10:00Z;much;15.8;15.7;15.9", {}, "A", "not_a_number", "'much'"),
        (f"{GOOD};15.8;15.7;15.9;x;y;z", {}, "", "too_many_cells", "9 cells"),
    ],
)
def test_what_is_wrong_is_told_by_the_files_own_headers(
    cells: str, said: dict[str, Any], header: str, code: str, words: str
) -> None:
    layout, line = one_line(cells, said=said)
    (wrong,) = line.wrong
    assert wrong.code == code
    assert words in wrong.detail
    assert (layout.header_of(wrong.pointer) if wrong.pointer else "") == header


@pytest.mark.parametrize(
    ("pointer", "header"),
    [
        ("/pack", "pack"),
        ("/voltages_v", "V1 to V3"),
        ("/voltages_v/2", "V3"),
        ("/level", "the setting level"),
        ("/visit", "visit"),
    ],
)
def test_pointers_lead_to_the_files_headers(pointer: str, header: str) -> None:
    layout, line = one_line(f"{GOOD};15.8;15.7;15.9")
    assert layout.header_of(pointer) == header
    assert layout.said(line, "/pack") == "P-1"
    assert layout.said(line, "/voltages_v/1") == "15.7"
    assert layout.said(line, "/level") == "block"


def test_one_that_the_file_says_itself_goes_before_the_setting() -> None:
    said = {"current_a": 20.0, "temperature_c": 25}
    _, silent = one_line("P-1;2026-03-05T10:00Z;;15.8;15.7;15.9", said=said)
    _, telling = one_line("P-1;2026-03-05T10:00Z;5;15.8;15.7;15.9", said=said)
    assert (silent.entry["current_a"], telling.entry["current_a"]) == (20.0, 5.0)
    assert silent.entry["temperature_c"] == 25.0


@pytest.mark.parametrize(
    ("current", "condition"),
    [("0.4", "rest"), ("-1", "rest"), ("20", "load"), ("-20", "charge"), ("", None)],
)
def test_the_condition_can_follow_from_the_current(current: str, condition: str | None) -> None:
    cells = f"P-1;2026-03-05T10:00Z;{current};15.8;15.7;15.9"
    _, line = one_line(cells, said={"condition": "by_current"})
    assert line.entry["condition"] == condition


def test_rows_of_positions_are_joined_while_they_go_on() -> None:
    head = "pack,time,no,volt\n"
    rows = [
        "P-1,2026-03-05T10:00Z,1,15.8",
        "P-1,2026-03-05T10:00Z,3,15.9",
        "P-1,2026-03-05T10:00Z,1,15.7",
        "P-2,2026-03-05T10:00Z,Block 02,15.6",
        "P-2,2026-03-05T10:00Z,none,15.6",
    ]
    named = {"pack": "pack", "taken_at": "time", "position": "no", "voltage": "volt"}
    _, lines = layout_of((head + "\n".join(rows)).encode(), named, SAID)
    assert [(line.number, line.last) for line in lines] == [(2, 3), (4, 4), (5, 6)]
    assert lines[0].entry["voltages_v"] == [15.8, None, 15.9]
    assert [wrong.code for wrong in lines[2].wrong] == ["not_a_position"]


def test_positions_can_count_from_0() -> None:
    head = "pack,time,no,volt\nP-1,2026-03-05T10:00Z,0,15.8\nP-1,2026-03-05T10:00Z,1,15.9\n"
    named = {"pack": "pack", "taken_at": "time", "position": "no", "voltage": "volt"}
    _, (line,) = layout_of(head.encode(), named, {**SAID, "first_position": 0})
    assert line.entry["voltages_v"] == [15.8, 15.9]
    _, (line,) = layout_of(head.encode(), named, SAID)
    assert [wrong.code for wrong in line.wrong] == ["not_a_position"]


@pytest.mark.parametrize(
    ("cell", "said"),
    [
        ("15.8;15.7;15.9", {}),
        ("15.8 15.7  15.9", {}),
        ("[15.8, 15.7, 15.9]", {}),
        ("15,8 15,7 15,9", {"decimal": "comma"}),
        ("15,8/15,7/15,9", {"separator": "slash"}),
        ("15.8|15.7|15.9", {"separator": "bar"}),
    ],
)
def test_voltages_in_one_cell(cell: str, said: dict[str, Any]) -> None:
    text = f'pack\ttime\tall\nP-1\t2026-03-05T10:00Z\t"{cell}"\n'
    named = {"pack": "pack", "taken_at": "time", "voltages_v": "all"}
    _, (line,) = layout_of(text.encode(), named, {**SAID, **said})
    assert line.entry["voltages_v"] == [15.8, 15.7, 15.9]


def test_nothing_read_is_nothing_said() -> None:
    _, line = one_line("P-1;2026-03-05T10:00Z")
    assert line.entry["voltages_v"] == [None, None, None]
    text = "pack,time,all\nP-1,2026-03-05T10:00Z,\n"
    named = {"pack": "pack", "taken_at": "time", "voltages_v": "all"}
    _, (empty,) = layout_of(text.encode(), named, SAID)
    assert empty.entry["voltages_v"] is None
