"""Finding and guessing columns."""

from time import monotonic
from typing import Any

import pytest

from packs.rules import columns
from packs.rules.header_words import field_of, level_of, meant
from packs.rules.import_settings import wrong_settings
from packs.rules.import_text import as_text, read_columns, read_settings
from packs.rules.spreadsheets import open_sheet
from tests.packs.testers import COUNT, GUESSED, TESTERS, MadeFile


def headers_of(tester: MadeFile) -> tuple[str, ...]:
    return open_sheet(tester.content, score=columns.score).headers


@pytest.mark.parametrize("tester", TESTERS, ids=lambda tester: tester.name)
def test_named_columns_are_found(tester: MadeFile) -> None:
    places, missing = columns.find(tester.columns, headers_of(tester))
    assert missing == []
    if places.form == "wide":
        assert len(places.volts) == COUNT


@pytest.mark.parametrize("tester", GUESSED, ids=lambda tester: tester.name)
def test_plain_headers_are_guessed(tester: MadeFile) -> None:
    assert columns.guess(headers_of(tester)).columns == tester.columns


def test_positions_go_by_their_number_wherever_they_stand() -> None:
    headers = ["V10", "V2", "V1", "pack", "V3", "V4", "V5", "V6", "V7", "V8", "V9"]
    places, _ = columns.find({"voltages_v": "V#"}, headers)
    assert [headers[place] for place in places.volts] == [f"V{n}" for n in range(1, 11)]
    chosen = [header for header in headers if header != "pack"]
    assert columns.as_pattern(chosen, headers) == "V#"
    assert columns.as_pattern(["V1", "V2", "V3"], headers) == ["V1", "V2", "V3"]


def test_what_is_numbered_and_no_voltage_is_left() -> None:
    headers = ["pack", "T1", "T2", "T3", "R1", "R2", "R3", "U1", "U2", "U3"]
    assert columns.guess(headers).columns["voltages_v"] == "U#"
    assert "voltages_v" not in columns.guess(headers[:7]).columns


def test_units_are_seen_in_header_or_figures() -> None:
    assert columns.guess(["V1 (mV)", "V2 (mV)", "V3 (mV)"]).settings["unit"] == "mv"
    assert columns.guess(["V1", "V2", "V3"], [["7900", "7905", "7910"]]).settings["unit"] == "mv"
    assert "unit" not in columns.guess(["V1", "V2", "V3"], [["15,9", "15,8", ""]]).settings
    assert columns.guess(["temp [°F]"]).settings == {"temperature_unit": "f"}


def test_a_column_of_other_words_is_no_condition() -> None:
    assert "condition" not in columns.guess(["status"], [["OK"], ["OK"]]).columns
    assert columns.guess(["status"], [["OK"], ["idle"]]).columns == {"condition": "status"}


@pytest.mark.parametrize(
    ("header", "field"),
    [
        ("Pack Serial", "pack"),
        ("SERIAL_NO.", "pack"),
        ("Spannung (V)", "voltage"),
        ("Strom in A", "current_a"),
        ("Fecha", "date"),
        ("température [°C]", "temperature_c"),
        ("colour", None),
        ("", None),
    ],
)
def test_plain_words_of_several_languages(header: str, field: str | None) -> None:
    assert field_of(header) == field


@pytest.mark.parametrize("odd", ["(", "[a", "1.1.", " ", "-", "a1"])
def test_endless_headers_are_looked_at_no_longer_than_others(odd: str) -> None:
    begun = monotonic()
    headers = [odd * 60_000, "V1", "V2", "V3"]
    assert columns.guess(headers, [[odd * 60_000, "1", "2", "3"]]).columns == {"voltages_v": "V#"}
    assert monotonic() - begun < 2.0


def test_levels_and_conditions_by_their_words() -> None:
    assert (level_of("Zelle "), level_of("Modul"), level_of("Blk")) == ("cell", "module", "block")
    assert (meant("condition", "Leerlauf"), meant("condition", "LOAD")) == ("rest", "load")
    assert meant("condition", "Odd one") == "odd_one"


@pytest.mark.parametrize(
    ("named", "code"),
    [
        ({"colour": "x"}, "unknown_field"),
        ({"pack": ["a", "b"]}, "not_a_text"),
        ({"pack": " "}, "not_a_text"),
        ({"voltages_v": []}, "not_a_text"),
        ({"voltages_v": ["a", 3]}, "not_a_text"),
        ({"pack": None}, "not_a_text"),
        ({"pack": "x" * 300}, "max_length"),
    ],
)
def test_wrong_columns_are_told(named: dict[str, Any], code: str) -> None:
    assert [wrong.code for wrong in columns.wrong_columns(named)] == [code]


def test_what_is_lacking_is_told_with_what_would_do() -> None:
    lacking = columns.lacking({"date": "d"}, {"level": "block"})
    assert [wrong.pointer for wrong in lacking] == [
        "/pack", "/taken_at", "/condition", "/current_a", "/voltages_v",
    ]  # fmt: skip
    whole = {"pack": "p", "date": "d", "time": "t", "position": "n", "voltage": "v"}
    assert columns.lacking(whole, {"level": "x", "condition": "y", "current_a": "0"}) == []


@pytest.mark.parametrize(
    ("said", "code"),
    [
        ({"decimal": "dot"}, "not_a_choice"),
        ({"dates": None}, "not_a_choice"),
        ({"header_row": 0}, "not_whole"),
        ({"header_row": True}, "not_whole"),
        ({"current_a": "x"}, "not_a_number"),
        ({"level": "tray"}, "not_a_choice"),
        ({"time_zone": "Mars/North"}, "unknown_time_zone"),
        ({"pack": 7}, "not_a_text"),
        ({"pack": ""}, "not_a_text"),
        ({"colour": "red"}, "unknown_field"),
    ],
)
def test_wrong_settings_are_told(said: dict[str, Any], code: str) -> None:
    assert [wrong.code for wrong in wrong_settings(said)] == [code]


def test_right_settings_are_not() -> None:
    said = {"level": "by_count", "condition": "by_current", "current_a": 0, "header_row": 4}
    assert wrong_settings({**said, "time_zone": "Europe/Vienna", "pack": "P-1"}) == []


@pytest.mark.parametrize("tester", TESTERS, ids=lambda tester: tester.name)
def test_columns_and_settings_are_read_as_they_are_told(tester: MadeFile) -> None:
    assert read_columns(as_text(tester.columns)) == tester.columns
    assert read_settings(as_text(tester.settings)) == tester.settings


def test_text_that_is_no_pair_is_refused() -> None:
    assert read_columns('pack=A,"voltages_v=U, #"') == {"pack": "A", "voltages_v": "U, #"}
    assert read_settings("current_a=20,header_row=3") == {"current_a": 20.0, "header_row": 3}
    for text in ("pack", "=A", "pack="):
        with pytest.raises(ValueError, match="no name=value"):
            read_columns(text)
