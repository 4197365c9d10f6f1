from zoneinfo import ZoneInfo

import numpy as np
import pytest

from packs.rules import columns, series_files
from packs.rules.module_tests import Curve
from packs.rules.series_files import Settings, settings_of
from packs.rules.spreadsheets import Sheet, Unreadable, open_sheet

UTC = ZoneInfo("UTC")
POINTS = [(0, 1.3, 8.1), (60, 1.3, 7.9), (120, 1.3, 7.8), (3720, 1.3, 7.2)]


def comma(figure: float) -> str:
    return str(figure).replace(".", ",")


def clock(seconds: float) -> str:
    return f"{seconds // 3600:.0f}:{seconds % 3600 // 60:02.0f}:{seconds % 60:04.1f}"


FILES = {
    "seconds": "Time (s),Current (A),Voltage (V)\n"
    + "".join(f"{t},{i},{v}\n" for t, i, v in POINTS),
    "minutes": "Test time (min)\tCurrent_mA\tVoltage_mV\n"
    + "".join(f"{t / 60}\t{i * 1000}\t{v * 1000}\n" for t, i, v in POINTS),
    "german": "Prüfling;M-1\nLaufzeit [h];Strom [A];Spannung [V];Temperatur [°C]\n"
    + "".join(f"{comma(t / 3600)};{comma(i)};{comma(v)};21,5\n" for t, i, v in POINTS),
    "clock": "No,Elapsed time,Temp,I,U\n"
    + "".join(f"{n},{clock(t)},21,{i},{v}\n" for n, (t, i, v) in enumerate(POINTS)),
    "instants": "Timestamp,Amps,Volts\n"
    + "".join(
        f"2026-03-05 {9 + t // 3600:02}:{t % 3600 // 60:02}:{t % 60:02},{i},{v}\n"
        for t, i, v in POINTS
    ),
    "charge is positive": "seconds,current,voltage\n"
    + "".join(f"{t},{-i},{v}\n" for t, i, v in POINTS),
}


def opened(text: str) -> tuple[Sheet, series_files.Guess]:
    sheet = open_sheet(text.encode(), score=columns.score)
    return sheet, series_files.guess(sheet.headers, [cells for _, _, cells in sheet.rows()])


@pytest.mark.parametrize("name", FILES)
def test_a_file_is_read_by_what_its_headers_and_cells_say(name: str) -> None:
    sheet, guess = opened(FILES[name])
    assert series_files.lacking(guess.columns) == []
    told = dict(guess.settings)
    first = series_files.read(sheet.rows(), guess.columns, settings_of(told, UTC))
    told["positive"] = series_files.way_out(first.curve)
    curve = series_files.read(sheet.rows(), guess.columns, settings_of(told, UTC)).curve
    assert told["positive"] == ("in" if name.startswith("charge") else "out")
    assert curve.seconds == pytest.approx([0, 60, 120, 3720])
    assert curve.current_a == pytest.approx([1.3] * 4)
    assert curve.voltage_v == pytest.approx([8.1, 7.9, 7.8, 7.2])


def test_lines_without_one_of_the_three_are_left_out_and_counted() -> None:
    sheet, guess = opened("Time (s),Current (A),Voltage (V)\n0,1.3,8\n30,,7.9\n60,1.3,7.9\n")
    told = series_files.read(sheet.rows(), guess.columns, Settings())
    assert (told.left_out, told.curve.seconds.size) == (1, 2)


@pytest.mark.parametrize(
    ("line", "settings", "words"),
    [
        ("60,OVL,7.9", Settings(), "Line 3: 'OVL' is no figure for the current"),
        ("later,1.3,7.9", Settings(), "for the time"),
        ("60,inf,7.9", Settings(), "no finite figure"),
        ("60,1.3,7.9", Settings(time_unit="hms"), "for the time"),
        ("60,1.3,7.9", Settings(time_unit="instant"), "is no date"),
    ],
)
def test_a_cell_that_is_no_figure_is_told_with_its_line(
    line: str, settings: Settings, words: str
) -> None:
    sheet, guess = opened(f"Time (s),Current (A),Voltage (V)\n0:00:00,1.3,8\n{line}\n")
    rows = list(sheet.rows())[1:]
    with pytest.raises(Unreadable, match=words.replace("(", r"\(")):
        series_files.read(rows, guess.columns, settings)


def test_one_line_is_no_series() -> None:
    sheet, guess = opened("Time (s),Current (A),Voltage (V)\n0,1.3,8\n")
    with pytest.raises(Unreadable, match="No two lines"):
        series_files.read(sheet.rows(), guess.columns, Settings())


def test_days_before_the_clock_and_minutes_alone() -> None:
    assert series_files._clock_s("1 02:03:04") == 86_400 + 2 * 3600 + 184
    assert series_files._clock_s("62:03.5") == 62 * 60 + 3.5
    assert series_files._clock_s("02:03,5") == 123.5


def test_which_way_is_out_by_what_the_voltage_does() -> None:
    seconds = np.arange(200.0)
    current = np.where(seconds < 100, -1.0, 1.3)
    volts = np.where(seconds < 100, 7 + seconds / 100, 8 - (seconds - 100) / 100)
    curve = Curve(seconds, current, volts)
    assert series_files.way_out(curve) == "out"
    assert series_files.way_out(Curve(seconds, -current, volts)) == "in"
