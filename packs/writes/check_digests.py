"""The digests of many checks at once: byte for byte what `digests.digest` makes of each."""

import hashlib
import json
from collections.abc import Mapping, Sequence
from datetime import UTC
from typing import Any

import msgspec

SAME = (
    "taken_at", "level", "condition", "current_a", "current_min_a", "current_max_a", "condition_s",
    "rested_min", "last_current", "soc_pct", "soc_source", "temperature_c", "temperatures_c",
    "odometer_km", "taken", "instrument",
)  # fmt: skip
BESIDE = {
    "pack": "pack_id",
    "set": "set_name",
    "done_by": "done_by_id",
    "equipment": "equipment_id",
    "visit": "visit_id",
    "supersedes": "supersedes_id",
}
SAID = {**{name: name for name in SAME}, **BESIDE}  # what is said, by the column that holds it

SORTED = json.JSONEncoder(sort_keys=True)
NUMBERS = {int, float}


def digest_columns(columns: Mapping[str, Sequence[Any]], orders: Sequence[str]) -> list[bytes]:
    """Of each row the SHA-256 of its content as JSON, names in order, voltages last of them.

    `columns` as the table names them, times of any offset, `voltages` arrays of stored units.
    """
    said = {name: columns[column] for name, column in SAID.items()}
    said["order"] = orders
    said["taken_at"] = [taken_at.astimezone(UTC).isoformat() for taken_at in columns["taken_at"]]
    marks, values = _template({name: said[name] for name in sorted(said)})
    template = "{" + "".join(marks) + '"voltages": %s}'
    rows = zip(*values, map(_listed, columns["voltages"]), strict=True)
    sha256 = hashlib.sha256
    return [sha256((template % row).encode()).digest() for row in rows]


def _template(said: Mapping[str, Sequence[Any]]) -> tuple[list[str], list[Sequence[Any]]]:
    """Places for the values of each name that anybody said, and the values that go there."""
    marks: list[str] = []
    values: list[Sequence[Any]] = []
    for name, column in said.items():
        missing = column.count(None)
        if missing == len(column):
            continue
        texts = _texts(column)
        marks.append(f'"{name}": %s, ' if not missing else "%s")
        values.append(texts if not missing else _named(name, texts, column))
    return marks, values


def _texts(column: Sequence[Any]) -> Sequence[Any]:
    """What prints as JSON: numbers as they are, the rest encoded, each text once."""
    kinds = set(map(type, column)) - {type(None)}
    if kinds <= NUMBERS:
        return column
    if kinds == {str}:
        told = {text: SORTED.encode(text) for text in set(column)}
        return [told[text] for text in column]
    return [SORTED.encode(value) for value in column]


def _named(name: str, texts: Sequence[Any], column: Sequence[Any]) -> Sequence[str]:
    return [
        "" if value is None else f'"{name}": {text}, '
        for text, value in zip(texts, column, strict=True)
    ]


def _listed(units: Any) -> str:
    return msgspec.json.encode(units.tolist()).replace(b",", b", ").decode()
