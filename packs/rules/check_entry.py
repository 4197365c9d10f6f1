"""What the entry of a voltage check may hold, field by field, before it meets its pack."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from packs.rules import bounds

NUMBERS: Mapping[str, tuple[float | None, float | None]] = {
    "current_a": (-bounds.CURRENT_MAX_A, bounds.CURRENT_MAX_A),
    "current_min_a": (-bounds.CURRENT_MAX_A, bounds.CURRENT_MAX_A),
    "current_max_a": (-bounds.CURRENT_MAX_A, bounds.CURRENT_MAX_A),
    "condition_s": (0, None),
    "rested_min": (0, None),
    "soc_pct": (0, 100),
    "temperature_c": (bounds.COLDEST_C, bounds.HOTTEST_C),
    "odometer_km": (0, bounds.FARTHEST_KM),
}
WHOLES = frozenset({"odometer_km"})
PLACES = ("inlet", "outlet", "middle")  # where in the pack it was how warm
CHOICES: Mapping[str, tuple[str, ...]] = {
    "level": ("block", "module", "cell"),
    "condition": ("rest", "load", "charge"),
    "last_current": ("charge", "discharge"),
    "soc_source": ("monitor", "estimated"),
    "taken": ("together", "one_by_one"),
    "order": ("position", "monitor"),
}
TEXTS: Mapping[str, int | None] = {
    "pack": bounds.SERIAL_LENGTH,
    "done_by": bounds.CODE_LENGTH,
    "set": bounds.SET_LENGTH,
    "equipment": bounds.CODE_LENGTH,
    "instrument": bounds.INSTRUMENT_LENGTH,
    "visit": None,
}
REQUIRED = ("pack", "taken_at", "level", "condition", "current_a", "voltages_v")


@dataclass(frozen=True)
class Wrong:
    """One thing wrong with an entry: `pointer` into it (RFC 6901), a code, a sentence."""

    pointer: str
    code: str
    detail: str


def wrong_in(entry: Mapping[str, Any]) -> list[Wrong]:
    """What is wrong with the fields of an entry whose values have the right types."""
    missing = [
        Wrong(f"/{name}", "required", bounds.MISSING)
        for name in REQUIRED
        if entry.get(name) is None
    ]
    said = {name: value for name, value in entry.items() if value is not None}
    return [*missing, *(wrong for name in said for wrong in _wrong_at(name, said[name]))]


def _wrong_at(name: str, value: Any) -> Iterator[Wrong]:
    if name in NUMBERS:
        yield from _wrong_number(f"/{name}", value, *NUMBERS[name])
    elif name in CHOICES and value not in CHOICES[name]:
        words = ", ".join(CHOICES[name])
        yield Wrong(f"/{name}", "not_a_choice", bounds.NO_CHOICE.format(words=words))
    elif name in TEXTS:
        yield from _wrong_text(f"/{name}", value, TEXTS[name])
    elif name == "temperatures_c":
        for place, warm in value.items():
            limits = (bounds.COLDEST_C, bounds.HOTTEST_C)
            yield from _wrong_number(f"/temperatures_c/{place}", warm, *limits)
    elif name == "taken_at":
        yield from _wrong_instant(value)
    elif name == "voltages_v":
        yield from _wrong_voltages(value)


def _wrong_number(
    pointer: str, value: float, low: float | None, high: float | None
) -> Iterator[Wrong]:
    if high is not None and value > high:
        yield Wrong(pointer, "max_value", bounds.TOO_HIGH.format(max_value=high))
    if low is not None and value < low:
        yield Wrong(pointer, "min_value", bounds.TOO_LOW.format(min_value=low))


def _wrong_text(pointer: str, value: str, longest: int | None) -> Iterator[Wrong]:
    if any(ord(letter) < 32 and letter not in "\n\r\t" for letter in value):
        yield Wrong(pointer, "bad_text", bounds.BAD_TEXT)
    elif longest is not None and len(value) > longest:
        yield Wrong(pointer, "max_length", bounds.TOO_LONG.format(max_length=longest))


def _wrong_instant(value: datetime) -> Iterator[Wrong]:
    if not bounds.EARLIEST < value.year < bounds.LATEST:
        yield Wrong("/taken_at", "no_such_instant", bounds.BAD_YEAR)


def _wrong_voltages(value: list[float | None]) -> Iterator[Wrong]:
    if not 1 <= len(value) <= bounds.POSITIONS_MAX:
        yield Wrong("/voltages_v", "wrong_count", bounds.BAD_COUNT)
        return
    for place, volts in enumerate(value):
        if volts is not None and not -bounds.VOLTS_MAX < volts < bounds.VOLTS_MAX:
            yield Wrong(f"/voltages_v/{place}", "out_of_range", bounds.BAD_VOLTAGE)
