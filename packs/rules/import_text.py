"""Columns and settings as one line of text, to be typed, copied and read again."""

import csv
import io
from collections.abc import Mapping
from typing import Any

from packs.rules.columns import Named
from packs.rules.import_settings import typed

LIST = "|"  # between the headers of a list of voltages


def read_pairs(text: str) -> dict[str, str]:
    """name=value pairs with commas between; a pair that holds one is quoted as in CSV.

    Raises ValueError for what is no pair.
    """
    pairs: dict[str, str] = {}
    for part in next(csv.reader([text], skipinitialspace=True), []):
        name, equals, value = part.partition("=")
        if not equals or not name.strip() or not value.strip():
            raise ValueError(f"'{part}' is no name=value")
        pairs[name.strip()] = value.strip()
    return pairs


def read_columns(text: str) -> dict[str, str | list[str]]:
    """Headers by field; a list of voltages has | between them. Raises ValueError."""
    return {
        name: value.split(LIST) if name == "voltages_v" and LIST in value else value
        for name, value in read_pairs(text).items()
    }


def read_settings(text: str) -> dict[str, Any]:
    """Settings by name. Raises ValueError."""
    return {name: typed(name, value) for name, value in read_pairs(text).items()}


def as_text(pairs: Named | Mapping[str, Any]) -> str:
    """The same as it is typed, by name: one database keeps the order of JSON, another does not."""
    out = io.StringIO()
    told = [
        f"{name}={LIST.join(value) if isinstance(value, list) else value}"
        for name, value in sorted(pairs.items())
    ]
    csv.writer(out, lineterminator="").writerow(told)
    return out.getvalue()
