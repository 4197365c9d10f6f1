"""Entries on their way to be checks, by column: a batch costs what its values cost, not its rows.

A column is a list under its name in the table; what concerns few entries is kept by their place.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from packs.errors import DomainError
from packs.models import VoltageCheck
from packs.reads import names
from packs.rules.voltages import to_units_each
from packs.writes.check_digests import SAME, digest_columns
from packs.writes.check_names import Entry, Held, Names

NAMED = ("done_by", "equipment", "visit")
FIELDS = tuple(row.attname for row in VoltageCheck._meta.concrete_fields)
BLANK: Mapping[str, Any] = {**dict.fromkeys(FIELDS), "void_reason": "", "suspect": ()}


@dataclass(slots=True)
class Lines:
    """A batch: the packs it names, the rows it asks for, or what stands against each.

    `unknown` is what the names of an entry met with; `refused` what the judgement found.
    """

    entries: Sequence[Entry]
    packs: list[Held | None]
    orders: list[str]
    columns: dict[str, list[Any]]
    named: dict[int, Mapping[str, Any]] = field(default_factory=dict)
    supersedes: dict[int, VoltageCheck] = field(default_factory=dict)
    unknown: dict[int, DomainError] = field(default_factory=dict)
    refused: dict[int, DomainError] = field(default_factory=dict)

    def __len__(self) -> int:
        return len(self.entries)

    def row(self, place: int) -> dict[str, Any]:
        return {name: column[place] for name, column in self.columns.items()}

    def check(self, place: int) -> VoltageCheck:
        """The row as the ORM knows it, with what it names at hand."""
        made = VoltageCheck(**self.row(place))
        made.suspect = list(made.suspect)
        pack = self.packs[place]
        if pack is not None:
            made.pack = pack.model()
        for name, found in self.named.get(place, {}).items():
            setattr(made, name, found)
        return made

    def take(self, place: int, check: VoltageCheck) -> None:
        """The row as it came back from the judgement."""
        for name, column in self.columns.items():
            column[place] = getattr(check, name)


def resolve(entries: Sequence[Entry]) -> Lines:
    """The batch by column, with what its names mean; the packs are locked."""
    known = Names.of(entries)
    lines = Lines(
        entries=entries,
        packs=[known.packs.get(entry["pack"].upper()) for entry in entries],
        orders=[entry.get("order") or "position" for entry in entries],
        columns={name: [value] * len(entries) for name, value in BLANK.items()},
    )
    _name(lines, known)
    _fill(lines)
    return lines


def _name(lines: Lines, known: Names) -> None:
    """What each entry names, where it names more than a known pack."""
    for place, entry in enumerate(lines.entries):
        if lines.packs[place] is not None and not (
            entry.get("done_by")
            or entry.get("equipment")
            or entry.get("visit")
            or entry.get("supersedes")
        ):
            continue
        try:
            _name_one(lines, place, known)
        except DomainError as error:
            lines.unknown[place] = error


def _name_one(lines: Lines, place: int, known: Names) -> None:
    entry = lines.entries[place]
    lines.packs[place] = known.pack(entry["pack"])
    named = lines.named[place] = known.beside(entry)
    for name, found in named.items():
        lines.columns[f"{name}_id"][place] = found.pk
    superseded = names.fact(VoltageCheck, entry.get("supersedes"))
    if superseded is not None:
        lines.supersedes[place] = superseded
        lines.columns["supersedes_id"][place] = superseded.pk


def _fill(lines: Lines) -> None:
    """What is said, by the columns of the table, with its digest; voltages as they were sent."""
    entries, columns = lines.entries, lines.columns
    for name in (*SAME, "external_id"):
        columns[name] = [entry.get(name) for entry in entries]
    columns["set_name"] = [entry.get("set") for entry in entries]
    columns["pack_id"] = [None if pack is None else pack.pk for pack in lines.packs]
    columns["voltages"] = to_units_each([entry["voltages_v"] for entry in entries])
    columns["digest"] = digest_columns(columns, lines.orders)
