"""From the rows of a file to the entries of voltage checks, each with what is wrong in it."""

import math
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from packs.rules.bounds import KM_PER_MILE
from packs.rules.check_entry import CHOICES, NUMBERS, PLACES, WHOLES, Wrong
from packs.rules.columns import TEMPERATURES, Places
from packs.rules.header_words import meant
from packs.rules.import_settings import (
    BY_CURRENT,
    REST_WITHIN_A,
    SEPARATORS,
    Settings,
)
from packs.rules.moments import Unclear, read_instant, read_parts
from packs.rules.spreadsheets import Row

MILLI = 1000
DECIMALS = 7  # of a volt after a change of unit; binary rounding is not kept
UNREAD = frozenset({"", "-", "--", "---", "nan", "n/a", "na", "null", "none", "ol", "err", "error"})
"""What testers write for a position that could not be read. Common practice, no source."""
PLAIN = Settings()  # how a setting itself is written
SHOWN = 80  # characters of a cell that are told
_NUMBER = re.compile(r"([-+−]?\d{1,30}(?:[.,]\d{1,30})?(?:[eE][-+]?\d{1,3})?)\s?([^\d\s]{1,3})?\Z")
_TIMES = ("taken_at", "date", "time")


@dataclass(frozen=True)
class Line:
    """One check as the file has it: from line `number` to `last`, and what is wrong in it."""

    number: int
    last: int
    entry: Mapping[str, Any]
    wrong: tuple[Wrong, ...]
    cells: tuple[str, ...]


@dataclass(frozen=True)
class Layout:
    """How the rows of one file are read."""

    headers: tuple[str, ...]
    places: Places
    settings: Settings
    zone: ZoneInfo

    def header_of(self, pointer: str) -> str:
        """Where the file says what `pointer` points at: its own header, or the setting."""
        _, field, *rest = [*pointer.split("/"), ""]
        single = self.places.single
        if field == "taken_at" and "date" in single:
            both = [self.headers[single[name]] for name in ("date", "time") if name in single]
            return " and ".join(both)
        if field == "voltages_v" and self.places.form == "wide":
            volts = self.places.volts
            if rest[0].isdecimal() and int(rest[0]) < len(volts):
                return self.headers[volts[int(rest[0])]]
            return f"{self.headers[volts[0]]} to {self.headers[volts[-1]]}"
        if field == "temperatures_c" and rest[0]:
            field = f"{rest[0]}_c"
        if field == "voltages_v" and self.places.form == "long":
            field = "voltage"
        if field in single:
            return self.headers[single[field]]
        return f"the setting {field}" if field in self.settings.fixed else field

    def said(self, line: Line, pointer: str) -> str:
        """The words of the file at `pointer`, where they stand in one cell."""
        _, field, *rest = [*pointer.split("/"), ""]
        places = self.places
        at = places.single.get(f"{rest[0]}_c" if field == "temperatures_c" else field)
        if field == "taken_at" and "date" in places.single:
            both = [places.single[name] for name in ("date", "time") if name in places.single]
            return " ".join(_cell(line.cells, place) for place in both)[:SHOWN]
        if field == "voltages_v" and places.form != "list":
            wide = (
                places.form == "wide" and rest[0].isdecimal() and int(rest[0]) < len(places.volts)
            )
            at = places.volts[int(rest[0])] if wide else None
        return self.settings.fixed.get(field, "") if at is None else _cell(line.cells, at)[:SHOWN]


def _cell(cells: Sequence[str], place: int) -> str:
    return cells[place] if place < len(cells) else ""


def read_lines(rows: Iterable[Row], layout: Layout) -> Iterator[Line]:
    """The checks of the rows, one at a time, in the order of the file."""
    if layout.places.form == "long":
        yield from (_joined(group, layout) for group in _groups(rows, layout.places))
        return
    for first, last, cells in rows:
        yield _line(first, last, cells, layout)


def _line(first: int, last: int, cells: list[str], layout: Layout) -> Line:
    entry, wrong = _fields(cells, layout)
    if layout.places.form == "wide":
        texts = [_cell(cells, place) for place in layout.places.volts]
    else:
        texts = _parted(_cell(cells, layout.places.single["voltages_v"]), layout.settings)
    entry["voltages_v"], beside = _volts(texts, layout.settings)
    wrong += [*beside, *_too_wide(cells, layout)]
    return Line(first, last, entry, tuple(wrong), tuple(cells))


def _too_wide(cells: list[str], layout: Layout) -> list[Wrong]:
    if not any(cells[len(layout.headers) :]):
        return []
    told = (
        f"The line has {len(cells)} cells where there are {len(layout.headers)} headers: a decimal "
        "comma or a delimiter stands in a cell without quotation marks."
    )
    return [Wrong("", "too_many_cells", told)]


def _groups(rows: Iterable[Row], places: Places) -> Iterator[list[Row]]:
    """Rows that follow one another and differ by position and voltage alone."""
    own = {places.single["position"], places.single["voltage"]}
    kept = [place for place in places.single.values() if place not in own]
    group: list[Row] = []
    met: set[str] = set()
    for row in rows:
        position = _cell(row[2], places.single["position"])
        same = group and all(_cell(row[2], at) == _cell(group[0][2], at) for at in kept)
        if group and (not same or position in met):
            yield group
            group, met = [], set()
        group.append(row)
        met.add(position)
    if group:
        yield group


def _joined(group: list[Row], layout: Layout) -> Line:
    """The check whose positions stand in rows of their own."""
    first, _, cells = group[0]
    entry, wrong = _fields(cells, layout)
    texts: dict[int, str] = {}
    for number, _, row in group:
        said = _cell(row, layout.places.single["position"])
        found = re.search(r"(\d{1,4})\D*\Z", said)
        place = int(found[1]) - layout.settings.first_position if found else -1
        if place < 0:
            told = f"'{said[:SHOWN]}' on line {number} is no position; they count from "
            told += f"{layout.settings.first_position}."
            wrong.append(Wrong("/position", "not_a_position", told))
        else:
            texts[place] = _cell(row, layout.places.single["voltage"])
    every = [texts.get(place, "") for place in range(max(texts, default=-1) + 1)]
    entry["voltages_v"], beside = _volts(every, layout.settings)
    return Line(first, group[-1][1], entry, tuple(wrong + beside), tuple(cells))


def _parted(text: str, settings: Settings) -> list[str]:
    """The voltages in one cell."""
    mark = settings["separator"]
    text = text.strip().strip("[](){}").strip()
    if mark == "auto":
        decimal_comma = settings["decimal"] == "comma"
        marks = [one for one in (";", "|", "/", ",") if one in text]
        mark = next((one for one in marks if one != "," or not decimal_comma), " ")
    else:
        mark = SEPARATORS[mark]
    return [part.strip() for part in (text.split() if mark == " " else text.split(mark))]


def _volts(
    texts: Sequence[str], settings: Settings
) -> tuple[list[float | None] | None, list[Wrong]]:
    volts: list[float | None] = []
    wrong = []
    milli = settings["unit"] == "mv"
    for place, text in enumerate(texts):
        if text.casefold() in UNREAD:
            volts.append(None)
            continue
        read = _number(text, settings["decimal"], "mv" if milli else "v")
        if isinstance(read, str):
            wrong.append(Wrong(f"/voltages_v/{place}", "not_a_number", read))
        else:
            volts.append(round(read / MILLI, DECIMALS) if milli else read)
    return (None if wrong or not texts else volts), wrong


def _number(text: str, decimal: str, *units: str) -> float | str:
    """The number in a cell, or the sentence that says why it is none."""
    match = _NUMBER.match(text)
    if match is None:
        return f"'{text[:SHOWN]}' is no number such as 7.95."
    said = (match[2] or "").casefold()
    if said and said not in units:
        return f"'{text[:SHOWN]}' bears the unit {match[2]}; look at the settings of units."
    figure = match[1].replace("−", "-")
    if decimal == "point" and "," in figure:
        return f"'{text[:SHOWN]}' has a comma; set decimal to comma if it is the decimal mark."
    if decimal == "comma" and "." in figure:
        return f"'{text[:SHOWN]}' has a point; set decimal to point if it is the decimal mark."
    value = float(figure.replace(",", "."))
    return value if math.isfinite(value) else f"'{text[:SHOWN]}' is no finite number."


def _fields(cells: list[str], layout: Layout) -> tuple[dict[str, Any], list[Wrong]]:
    """Everything but the voltages."""
    settings, texts = layout.settings, dict(layout.settings.fixed)
    own = {name: _cell(cells, at) for name, at in layout.places.single.items()}
    texts |= {name: text for name, text in own.items() if text and name != "voltages_v"}
    entry: dict[str, Any] = {}
    wrong: list[Wrong] = []
    for name, text in texts.items():
        if name in NUMBERS or name in TEMPERATURES:
            _take_number(name, text, settings if own.get(name) else PLAIN, entry, wrong)
        elif name in CHOICES:
            entry[name] = meant(name, text)
        elif name not in (*_TIMES, "position", "voltage"):
            entry[name] = text
    _take_time(texts, layout, entry, wrong)
    if entry.get("condition") == BY_CURRENT:
        entry["condition"] = _by_current(entry.get("current_a"))
    return entry, wrong


def _take_number(
    name: str,
    text: str,
    settings: Settings,
    entry: dict[str, Any],
    wrong: list[Wrong],
) -> None:
    place = name.removesuffix("_c") if name in TEMPERATURES else None
    pointer = f"/temperatures_c/{place}" if place else f"/{name}"
    read = _number(text, settings["decimal"], *_units_of(name, settings))
    if isinstance(read, str):
        wrong.append(Wrong(pointer, "not_a_number", read))
        return
    value = _turned(name, read, settings)
    if name in WHOLES and not value.is_integer():
        wrong.append(Wrong(pointer, "not_whole", f"'{text[:SHOWN]}' is no whole number."))
    elif place in PLACES:
        entry.setdefault("temperatures_c", {})[place] = value
    else:
        entry[name] = int(value) if name in WHOLES else value


def _units_of(name: str, settings: Settings) -> tuple[str, ...]:
    """The units that may stand behind a number of that field."""
    if name.startswith("current"):
        return ("a",)
    if name == "odometer_km":
        return (settings["distance"],)
    if name == "temperature_c" or name in TEMPERATURES:
        return (settings["temperature_unit"], f"°{settings['temperature_unit']}")
    return {"soc_pct": ("%",), "condition_s": ("s",), "rested_min": ("min",)}.get(name, ())


def _turned(name: str, value: float, settings: Settings) -> float:
    """The value in our unit and sense."""
    if name == "odometer_km" and settings["distance"] == "mi":
        return float(round(value * KM_PER_MILE))
    if name.startswith("current") and settings["current_sign"] == "in":
        return -value if value else value
    if (name == "temperature_c" or name in TEMPERATURES) and settings["temperature_unit"] == "f":
        return round((value - 32) * 5 / 9, 2)
    return value


def _take_time(
    texts: Mapping[str, str], layout: Layout, entry: dict[str, Any], wrong: list[Wrong]
) -> None:
    dates = layout.settings["dates"]
    try:
        if texts.get("taken_at") and texts.get("time") and " " not in texts["taken_at"]:
            entry["taken_at"] = _with_time(texts, dates, layout.zone)
        elif texts.get("taken_at"):
            entry["taken_at"] = read_instant(texts["taken_at"], dates=dates, zone=layout.zone)
        elif texts.get("date"):
            entry["taken_at"] = read_parts(
                texts["date"], texts.get("time", ""), dates=dates, zone=layout.zone
            )
    except Unclear as unclear:
        wrong.append(unclear.wrong)


def _with_time(texts: Mapping[str, str], dates: str, zone: ZoneInfo) -> Any:
    """A column of whole instants that holds a date alone, with the time said beside it."""
    try:
        return read_instant(texts["taken_at"], dates=dates, zone=zone)
    except Unclear as unclear:
        if unclear.wrong.code != "no_time":
            raise
        return read_parts(texts["taken_at"], texts["time"], dates=dates, zone=zone)


def _by_current(current_a: float | None) -> str | None:
    if current_a is None:
        return None
    if abs(current_a) <= REST_WITHIN_A:
        return "rest"
    return "load" if current_a > 0 else "charge"
