"""A module's series from any tester's file: which columns, which units, which way is out."""

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from packs.rules.header_words import field_of, plain
from packs.rules.module_tests import POINTS_MAX, Curve
from packs.rules.moments import Unclear, are_instants, order_of, read_instant
from packs.rules.spreadsheets import Row, Unreadable

SECONDS, CURRENT, VOLTAGE = COLUMNS = ("seconds", "current_a", "voltage_v")
WHAT = {SECONDS: "the time", CURRENT: "the current", VOLTAGE: "the voltage"}
INSTANT, CLOCK = "instant", "hms"
TIME_UNITS = {"s": 1.0, "ms": 0.001, "min": 60.0, "h": 3600.0}
SCALES = {"a": 1.0, "ma": 0.001, "v": 1.0, "mv": 0.001}
OPTIONS: Mapping[str, tuple[str, ...]] = {
    "time_unit": (*TIME_UNITS, CLOCK, INSTANT),
    "current_unit": ("a", "ma"),
    "voltage_unit": ("v", "mv"),
    "positive": ("out", "in"),
    "decimal": ("point", "comma"),
    "dates": ("iso", "day_month", "month_day"),
}
"""What a setting may be; the first of each stands where nothing else is told or seen."""

_ELAPSED = (
    "elapsed,elapsed time,test time,total time,run time,runtime,seconds,second,sec,secs,s,minutes,"
    "min,hours,laufzeit,prüfzeit,testzeit,durée,temps,tiempo,tempo,tid,time s,time min,time h"
)
ELAPSED = frozenset(_ELAPSED.split(","))
"""Plain words that head a column of time since the begin; the others are those of a clock."""

MILLI_FROM_V = 500.0  # no module shows so many volts; common practice, no source
SHOWN = 40  # characters of a cell that are told
_UNIT = re.compile(r"[\s_]m?[av]\Z", re.IGNORECASE)  # behind a header, without brackets
_CLOCK = re.compile(r"(?:(\d+)\s*[d.]?\s+)?(?:(\d+):)?(\d{1,2}):(\d{1,2}(?:[.,]\d+)?)\Z")


@dataclass(frozen=True)
class Settings:
    """How the figures of a file are meant."""

    time_unit: str = "s"
    current_unit: str = "a"
    voltage_unit: str = "v"
    positive: str = "out"
    decimal: str = "point"
    dates: str = "iso"
    zone: ZoneInfo = field(default=ZoneInfo("UTC"))


@dataclass(frozen=True)
class Guess:
    """Which column, by its place, holds what, and how its figures look to be meant."""

    columns: Mapping[str, int]
    settings: Mapping[str, str]


@dataclass(frozen=True)
class Read:
    """A series read, and how many lines were left out since they lacked one of the three."""

    curve: Curve
    left_out: int


def guess(headers: Sequence[str], sample: Sequence[Sequence[str]]) -> Guess:
    """What the headers and the first rows say."""
    found: dict[str, int] = {}
    for place, header in enumerate(headers):
        use = _use(header)
        if use is not None and (use not in found or (use == SECONDS and _is_elapsed(header))):
            found[use] = place
    cells = {
        use: [row[place] for row in sample if place < len(row) and row[place]]
        for use, place in found.items()
    }
    heads = {use: headers[place] for use, place in found.items()}
    return Guess(found, _settings(heads, cells))


def _use(header: str) -> str | None:
    if _is_elapsed(header):
        return SECONDS
    named = field_of(_UNIT.sub("", header))
    return {
        "taken_at": SECONDS,
        "time": SECONDS,
        "current_a": CURRENT,
        "voltage": VOLTAGE,
        "voltages_v": VOLTAGE,
    }.get(named or "")


def _is_elapsed(header: str) -> bool:
    return plain(header) in ELAPSED


def _settings(heads: Mapping[str, str], cells: Mapping[str, Sequence[str]]) -> dict[str, str]:
    times, figures = cells.get(SECONDS, []), [*cells.get(CURRENT, []), *cells.get(VOLTAGE, [])]
    found = {"time_unit": _time_unit(heads.get(SECONDS, ""), times)}
    if any(re.fullmatch(r"[-+]?\d+,\d+", cell) for cell in figures):
        found["decimal"] = "comma"
    if re.search(r"\bma\b|_ma\b|milliamp", heads.get(CURRENT, "").casefold()):
        found["current_unit"] = "ma"
    volts = sorted(abs(one) for cell in cells.get(VOLTAGE, []) if (one := _roughly(cell)))
    milli = re.search(r"\bmv\b|_mv\b|millivolt", heads.get(VOLTAGE, "").casefold())
    if milli or (volts and volts[len(volts) // 2] >= MILLI_FROM_V):
        found["voltage_unit"] = "mv"
    if found["time_unit"] == INSTANT:
        found["dates"] = order_of(list(times)) or "day_month"
    return found


def _time_unit(header: str, cells: Sequence[str]) -> str:
    if cells and all(_CLOCK.match(cell) for cell in cells):
        return CLOCK
    if cells and are_instants(list(cells)):
        return INSTANT
    told = re.search(r"[\s(\[_]?\b(ms|s|sec|min|h|hours?|minutes?)\b[)\]]?\s*\Z", header.casefold())
    word = told[1] if told else "s"
    return {"sec": "s", "hour": "h", "hours": "h", "minute": "min", "minutes": "min"}.get(
        word, word
    )


def _roughly(cell: str) -> float | None:
    try:
        return float(cell.replace(",", "."))
    except ValueError:
        return None


def lacking(columns: Mapping[str, int]) -> list[str]:
    """Which of the three nobody has named a column for."""
    return [use for use in COLUMNS if use not in columns]


def read(rows: Iterable[Row], columns: Mapping[str, int], settings: Settings) -> Read:
    """The series of a file, from 0 s on; a discharge is positive. Raises Unreadable."""
    readers = _readers(settings)
    kept: list[tuple[float, ...]] = []
    left_out = 0
    for line, _, cells in rows:
        said = [_cell(cells, columns[use]) for use in COLUMNS]
        if not all(said):
            left_out += 1
            continue
        if len(kept) == POINTS_MAX:
            told = f"The file has over {POINTS_MAX} readings; export it with longer steps."
            raise Unreadable("too_many_points", told)
        kept.append(
            tuple(
                _figure(use, text, readers, line) for use, text in zip(COLUMNS, said, strict=True)
            )
        )
    if len(kept) < 2:
        told = "No two lines hold a time, a current and a voltage; look at the columns."
        raise Unreadable("no_readings", told)
    seconds, current, volts = np.array(kept, dtype=np.float64).T
    sign = 1.0 if settings.positive == "out" else -1.0
    return Read(Curve(seconds - seconds[0], sign * current, np.ascontiguousarray(volts)), left_out)


def _cell(cells: Sequence[str], place: int) -> str:
    return cells[place] if place < len(cells) else ""


def _figure(use: str, text: str, readers: Mapping[str, Callable[[str], float]], line: int) -> float:
    try:
        figure = readers[use](text)
    except (ValueError, Unclear) as error:
        detail = (
            error.wrong.detail
            if isinstance(error, Unclear)
            else (
                f"'{text[:SHOWN]}' is no figure for {WHAT[use]}; look at the column and its unit."
            )
        )
        raise Unreadable("bad_figure", f"Line {line}: {detail}") from error
    if not np.isfinite(figure):
        raise Unreadable("bad_figure", f"Line {line}: '{text[:SHOWN]}' is no finite figure.")
    return figure


def _readers(settings: Settings) -> dict[str, Callable[[str], float]]:
    def number(text: str) -> float:
        return float(text.replace(",", ".") if settings.decimal == "comma" else text)

    def scaled(unit: str) -> Callable[[str], float]:
        scale = {**TIME_UNITS, **SCALES}[unit]
        return lambda text: number(text) * scale

    times: dict[str, Callable[[str], float]] = {
        CLOCK: _clock_s,
        INSTANT: lambda text: read_instant(
            text, dates=settings.dates, zone=settings.zone
        ).timestamp(),
    }
    return {
        SECONDS: times.get(settings.time_unit) or scaled(settings.time_unit),
        CURRENT: scaled(settings.current_unit),
        VOLTAGE: scaled(settings.voltage_unit),
    }


def _clock_s(text: str) -> float:
    """Seconds of 1:02:03, 62:03 (minutes and seconds) or 1 02:03:04 (days first)."""
    match = _CLOCK.match(text)
    if match is None:
        raise ValueError(text)
    days, hours, minutes, seconds = match.groups()
    whole = int(days or 0) * 86_400 + int(hours or 0) * 3600 + int(minutes) * 60
    return whole + float(seconds.replace(",", "."))


def way_out(curve: Curve) -> str:
    """Which sign a discharge has in a series read as it stands: 'out' where it is positive.

    A voltage falls while current flows out of a module, and rises while it flows in.
    """
    flows = np.sign(curve.current_a[1:])
    falls = -np.diff(curve.voltage_v)
    return "in" if float((flows * falls).sum()) < 0 else "out"


def settings_of(said: Mapping[str, Any], zone: ZoneInfo) -> Settings:
    """Settings as they were chosen; what was not is as usual."""
    chosen = {name: said[name] for name, options in OPTIONS.items() if said.get(name) in options}
    return Settings(**chosen, zone=zone)
