"""What a file of readings does not say of itself: how it is written, and what holds for all."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any
from zoneinfo import available_timezones

from packs.rules.check_entry import CHOICES, NUMBERS, TEXTS, Wrong
from packs.rules.columns import TEMPERATURES
from packs.rules.spreadsheets import DELIMITERS, ENCODINGS

BY_COUNT = "by_count"  # the level whose positions of the pack's type are as many
BY_CURRENT = "by_current"  # rest, load or charge by the current's size and sign
REST_WITHIN_A = 1.0  # what a meter shows of no current; common practice, no source
LINES_MAX = 1_000_000  # where a row of headers can stand at most

OPTIONS: Mapping[str, tuple[str, ...]] = {
    "delimiter": ("auto", *DELIMITERS),
    "encoding": ("auto", *ENCODINGS),
    "decimal": ("auto", "point", "comma"),
    "dates": ("iso", "day_month", "month_day"),
    "unit": ("v", "mv"),
    "temperature_unit": ("c", "f"),
    "distance": ("km", "mi"),
    "current_sign": ("out", "in"),
    "separator": ("auto", "space", "semicolon", "comma", "slash", "bar"),
}
"""Each with what is meant unless said, first. `current_sign`: what a positive current flows."""

SEPARATORS = {"space": " ", "semicolon": ";", "comma": ",", "slash": "/", "bar": "|"}
FIXED = (
    "pack", "level", "condition", "current_a", "date", "time",
    *(name for name in NUMBERS if name != "current_a"), *TEMPERATURES,
    *(name for name in CHOICES if name not in ("level", "condition")),
    *(name for name in TEXTS if name != "pack"),
)  # fmt: skip
"""Fields that one value can be said for, of every line that has none of its own."""

MORE_CHOICES = {"level": (BY_COUNT,), "condition": (BY_CURRENT,)}
WHOLE_NUMBERS = {"header_row": (1, LINES_MAX), "first_position": (0, 1)}
NUMERIC = frozenset(NUMBERS) | frozenset(TEMPERATURES)
TEXT_MAX = 100  # characters of a setting


@dataclass(frozen=True)
class Settings:
    """How a file is written, and the fields that hold for all of its lines, as text."""

    options: Mapping[str, str] = field(default_factory=dict)
    fixed: Mapping[str, str] = field(default_factory=dict)
    header_row: int | None = None
    first_position: int = 1
    time_zone: str | None = None

    @classmethod
    def of(cls, said: Mapping[str, Any]) -> "Settings":
        """The settings, none of which is wrong."""
        return cls(
            options={name: said[name] for name in OPTIONS if said.get(name) is not None},
            fixed={name: str(said[name]) for name in FIXED if said.get(name) not in (None, "")},
            header_row=said.get("header_row"),
            first_position=said.get("first_position", 1),
            time_zone=said.get("time_zone"),
        )

    def __getitem__(self, option: str) -> str:
        return self.options.get(option, OPTIONS[option][0])


def wrong_settings(said: Mapping[str, Any]) -> list[Wrong]:
    """What is wrong with settings as they are said."""
    return [wrong for name, value in said.items() if (wrong := _wrong_setting(name, value))]


def _wrong_setting(name: str, value: Any) -> Wrong | None:
    whole = isinstance(value, int) and not isinstance(value, bool)
    refusal: tuple[str, str] | None = None
    if name in OPTIONS or name in CHOICES:
        choices = OPTIONS.get(name) or (*CHOICES[name], *MORE_CHOICES.get(name, ()))
        if not isinstance(value, str) or value not in choices:
            refusal = ("not_a_choice", f"Not one of: {', '.join(choices)}.")
    elif name in WHOLE_NUMBERS:
        low, high = WHOLE_NUMBERS[name]
        if not whole or not low <= value <= high:
            refusal = ("not_whole", f"A whole number from {low} to {high}.")
    elif name in NUMERIC:
        if not whole and not (isinstance(value, float) and math.isfinite(value)):
            refusal = ("not_a_number", "Not a number such as 20.")
    elif name in FIXED or name == "time_zone":
        refusal = _wrong_text(name, value)
    else:
        known = ", ".join([*OPTIONS, *WHOLE_NUMBERS, "time_zone", *FIXED])
        refusal = ("unknown_field", f"There is no setting '{name}'; there are: {known}.")
    return Wrong(f"/{name}", *refusal) if refusal else None


def _wrong_text(name: str, value: Any) -> tuple[str, str] | None:
    if not isinstance(value, str) or not 1 <= len(value) <= TEXT_MAX or not value.isprintable():
        return ("not_a_text", f"A text of 1 to {TEXT_MAX} characters.")
    if name == "time_zone" and value not in available_timezones():
        told = f"'{value}' is no name of the tz database, such as Europe/Vienna."
        return ("unknown_time_zone", told)
    return None


def typed(name: str, text: str) -> Any:
    """A setting as typed on a command line or in a form, as JSON would hold it."""
    number = int if name in WHOLE_NUMBERS else float if name in NUMERIC else None
    if number is None:
        return text
    try:
        return number(text)
    except ValueError:
        return text
