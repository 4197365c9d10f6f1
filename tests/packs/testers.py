"""Files as made-up testers might write them; each tells the same four checks of two packs."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

COUNT = 14
WHEN = (datetime(2024, 3, 5, 9, 0, tzinfo=UTC), datetime(2024, 3, 25, 14, 5, 30, tzinfo=UTC))
CHECKS = [
    (serial, when, condition, current)
    for serial in ("TP-0001", "TP-0002")
    for when, condition, current in zip(WHEN, ("rest", "load"), (0.0, 20.0), strict=True)
]


def volts(serial: str, condition: str) -> list[float]:
    """Fourteen blocks, told apart by pack and condition."""
    level = {"rest": 15.8, "load": 14.9}[condition] + int(serial[-1]) / 100
    return [round(level + 0.01 * (place % 3), 3) for place in range(COUNT)]


@dataclass(frozen=True)
class MadeFile:
    """A form of file, and what has to be said of it beside its columns."""

    name: str
    content: bytes
    columns: dict[str, Any]
    settings: dict[str, Any] = field(default_factory=dict)


def table(rows: Iterable[Iterable[Any]], mark: str = ",", end: str = "\r\n") -> str:
    return "".join(mark.join(str(cell) for cell in row) + end for row in rows)


def comma(number: float) -> str:
    return f"{number}".replace(".", ",")


def english() -> MadeFile:
    head = ["Pack serial", "Timestamp", "Condition", "Current (A)"]
    head += [f"V{n}" for n in range(1, COUNT + 1)]
    rows = [[s, w.isoformat(), c, a, *volts(s, c)] for s, w, c, a in CHECKS]
    named = {
        "pack": "Pack serial",
        "taken_at": "Timestamp",
        "condition": "Condition",
        "current_a": "Current (A)",
        "voltages_v": "V#",
    }
    return MadeFile("english", table([head, *rows]).encode(), named, {"level": "by_count"})


def german() -> MadeFile:
    head = ["Seriennummer", "Datum", "Uhrzeit", "Zustand", "Strom [A]"]
    head += [f"Block {n:02} [V]" for n in range(1, COUNT + 1)]
    words = {"rest": "Ruhe", "load": "Last"}
    rows = [
        [s, f"{w:%d.%m.%Y}", f"{w:%H:%M:%S}", words[c], comma(a), *map(comma, volts(s, c))]
        for s, w, c, a in CHECKS
    ]
    text = "Prüfstand Süd;;\r\nBediener;kim\r\n\r\n" + table([head, *rows], ";")
    named = {
        "pack": "Seriennummer",
        "date": "Datum",
        "time": "Uhrzeit",
        "condition": "Zustand",
        "current_a": "Strom [A]",
        "voltages_v": "Block # [V]",
    }
    said = {"level": "block", "dates": "day_month"}
    return MadeFile("german", text.encode("cp1252"), named, said)


def french() -> MadeFile:
    head = ["Numéro de série", "Horodatage", "État", "Courant", "Température"]
    head += [f"Tension {n}" for n in range(1, COUNT + 1)]
    words = {"rest": "Repos", "load": "Décharge"}
    rows = [
        [s, f"{w:%d/%m/%Y %H:%M:%S}", words[c], comma(a), "21,5", *map(comma, volts(s, c))]
        for s, w, c, a in CHECKS
    ]
    named = {
        "pack": "Numéro de série",
        "taken_at": "Horodatage",
        "condition": "État",
        "current_a": "Courant",
        "temperature_c": "Température",
        "voltages_v": "Tension #",
    }
    said = {"level": "by_count", "dates": "day_month"}
    return MadeFile("french", table([head, *rows], "\t").encode("utf-16"), named, said)


def american() -> MadeFile:
    head = ["S/N", "Date", "Time", "Amps", "Temp (F)", "Mileage (mi)"]
    head += [f"Block{n}_mV" for n in range(1, COUNT + 1)]
    rows = [
        [s, f"{w:%m/%d/%Y}", f"{w:%I:%M:%S %p}", a, 68, 1000]
        + [round(volt * 1000) for volt in volts(s, c)]
        for s, w, c, a in CHECKS
    ]
    named = {
        "pack": "S/N",
        "date": "Date",
        "time": "Time",
        "current_a": "Amps",
        "temperature_c": "Temp (F)",
        "odometer_km": "Mileage (mi)",
        "voltages_v": "Block#_mV",
    }
    said = {
        "unit": "mv",
        "level": "block",
        "temperature_unit": "f",
        "distance": "mi",
        "dates": "month_day",
        "condition": "by_current",
    }
    return MadeFile("american", table([head, *rows], end="\n").encode("utf-8-sig"), named, said)


def tall() -> MadeFile:
    """One row a position."""
    rows = [
        [s, w.isoformat(), "idle" if c == "rest" else "discharge", a, place, volt]
        for s, w, c, a in CHECKS
        for place, volt in enumerate(volts(s, c), 1)
    ]
    head = ["battery", "when", "mode", "amps", "block", "voltage"]
    named = {
        "pack": "battery",
        "taken_at": "when",
        "condition": "mode",
        "current_a": "amps",
        "position": "block",
        "voltage": "voltage",
    }
    return MadeFile("tall", table([head, *rows]).encode(), named, {"level": "block"})


def packed() -> MadeFile:
    """All voltages in one quoted cell; seconds since 1970."""
    rows = [
        [s, int(w.timestamp()), c, a, '"' + "; ".join(map(str, volts(s, c))) + '"']
        for s, w, c, a in CHECKS
    ]
    head = ["serial", "epoch", "state", "current", "readings"]
    named = {
        "pack": "serial",
        "taken_at": "epoch",
        "condition": "state",
        "current_a": "current",
        "voltages_v": "readings",
    }
    return MadeFile("packed", table([head, *rows]).encode(), named, {"level": "by_count"})


def numbered() -> MadeFile:
    """Headers that are the positions themselves, after a preamble in the same delimiter."""
    head = ["Pack", "Time", "I", *range(1, COUNT + 1)]
    rows = [[s, f"{w:%Y-%m-%d %H:%M:%S}", a, *volts(s, c)] for s, w, c, a in CHECKS]
    text = table([["Tester", "4711"], ["Firmware", "2.1"], [], head, *rows], "\t")
    named = {"pack": "Pack", "taken_at": "Time", "current_a": "I", "voltages_v": "#"}
    said = {"level": "by_count", "condition": "by_current"}
    return MadeFile("numbered", text.encode(), named, said)


def signed() -> MadeFile:
    """A discharge counts as negative; the columns stand in any order, one list of headers."""
    letters = "ABCDEFGHIJKLMN"
    head = ["Messzeit", *(f"Wert {letter}" for letter in letters), "Strom", "Akku"]
    rows = [
        [f"{w:%Y%m%dT%H%M%SZ}", *(f'"{comma(v)}"' for v in volts(s, c)), -a, s]
        for s, w, c, a in CHECKS
    ]
    named = {
        "pack": "Akku",
        "taken_at": "Messzeit",
        "current_a": "Strom",
        "voltages_v": [f"Wert {letter}" for letter in letters],
    }
    said = {"level": "block", "condition": "by_current", "current_sign": "in"}
    return MadeFile("signed", table([head, *rows]).encode(), named, said)


TESTERS = [english(), german(), french(), american(), tall(), packed(), numbered(), signed()]
GUESSED = [tester for tester in TESTERS if tester.name != "signed"]
