"""Entries on their way to be checks: names resolved, judged, and turned into rows.

Most are beyond doubt and are judged by column; the others one by one, by the rules that can tell
what is wrong. Both ways end in the same row.
"""

import hashlib
import json
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, time
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from packs.errors import DomainError
from packs.models import Equipment, Pack, Person, Visit, VoltageCheck
from packs.reads import names, types
from packs.rules import batches
from packs.rules.identity import decode
from packs.rules.voltages import to_units
from packs.writes.judging import CLOCK_ERROR, judge

Entry = Mapping[str, Any]
Units = NDArray[np.int32]

SAME = (
    "taken_at", "level", "condition", "current_a", "current_min_a", "current_max_a", "condition_s",
    "rested_min", "last_current", "soc_pct", "soc_source", "temperature_c", "temperatures_c",
    "odometer_km", "taken", "instrument",
)  # fmt: skip
NAMED = ("done_by", "equipment", "visit")
FIELDS = tuple(row.attname for row in VoltageCheck._meta.concrete_fields)
BLANK: Mapping[str, Any] = {
    **dict.fromkeys(FIELDS),
    "void_reason": "",
}


@dataclass(slots=True)
class Line:
    """One entry: the pack it names, the row it asks for, or what stands against it.

    `unknown` is what its names met with; `refused` what the judgement found, None until judged.
    """

    entry: Entry
    pack: Pack | None = None
    row: dict[str, Any] = field(default_factory=dict)
    supersedes: VoltageCheck | None = None
    named: Mapping[str, Any] = field(default_factory=dict)
    unknown: DomainError | None = None
    refused: DomainError | None = None

    @property
    def external_id(self) -> str | None:
        name: str | None = self.entry.get("external_id")
        return name

    def check(self) -> VoltageCheck:
        """The row as the ORM knows it, with what it names at hand."""
        made = VoltageCheck(**self.row)
        for name, found in (("pack", self.pack), *self.named.items()):
            if found is not None:
                setattr(made, name, found)
        return made


@dataclass(frozen=True)
class Names:
    """What the keys in a batch mean, read in one query a kind; the packs held until the end."""

    packs: Mapping[str, Pack]
    people: Mapping[str, Person]
    equipment: Mapping[str, Equipment]
    visits: Mapping[str, Visit]

    @classmethod
    def of(cls, entries: Sequence[Entry]) -> "Names":
        return cls(
            packs=_held(sorted({entry["pack"].upper() for entry in entries})),
            people=_by_code(Person, entries, "done_by"),
            equipment=_by_code(Equipment, entries, "equipment"),
            visits=_visits(entries),
        )


def _held(serials: Sequence[str]) -> dict[str, Pack]:
    """The packs, locked in one order, so that two batches never wait for each other."""
    rows = names.packs().select_for_update(of=("self",)).filter(serial__upper__in=serials)
    return {pack.serial.upper(): pack for pack in rows.order_by("pk")}


def _by_code(model: type[Any], entries: Sequence[Entry], name: str) -> dict[str, Any]:
    codes = {entry[name] for entry in entries if entry.get(name)}
    return {row.code: row for row in model.objects.filter(code__in=codes)} if codes else {}


def _visits(entries: Sequence[Entry]) -> dict[str, Visit]:
    said = {entry["visit"] for entry in entries if entry.get("visit")}
    numbers = {text: decode(Visit.PREFIX, text) for text in said}
    wanted = [number for number in numbers.values() if number is not None]
    found = Visit.objects.select_related("pack", "vehicle").in_bulk(wanted) if wanted else {}
    known = {text: found.get(number or -1) for text, number in numbers.items()}
    return {text: visit for text, visit in known.items() if visit is not None}


def resolve(entries: Sequence[Entry]) -> list[Line]:
    """A line for each entry, with what its names mean; the packs are locked."""
    known = Names.of(entries)
    return [
        _line(entry, units, known) for entry, units in zip(entries, _units(entries), strict=True)
    ]


def _units(entries: Sequence[Entry]) -> list[Units]:
    """The voltages of each entry as stored units, in order as they were sent."""
    found: dict[int, Units] = {}
    alike = defaultdict(list)
    for place, entry in enumerate(entries):
        volts = entry["voltages_v"]
        if isinstance(volts, np.ndarray):
            found[place] = volts
        else:
            alike[len(volts)].append(place)
    for places in alike.values():
        block = np.array([entries[place]["voltages_v"] for place in places], dtype=np.float64)
        found |= zip(places, to_units(block), strict=True)
    return [found[place] for place in range(len(entries))]


def _line(entry: Entry, units: Units, known: Names) -> Line:
    line = Line(entry)
    try:
        line.pack = known.packs.get(entry["pack"].upper()) or names.pack(entry["pack"])
        line.named = _named(entry, known)
        if entry.get("supersedes") is not None:
            line.supersedes = names.fact(VoltageCheck, entry["supersedes"])
    except DomainError as error:
        line.unknown = error
        return line
    line.row = _row(line, units)
    return line


def _named(entry: Entry, known: Names) -> Mapping[str, Any]:
    """Whom and what it names beside the pack; raises Contradiction for an unknown one."""
    if not any(entry.get(name) for name in NAMED):
        return {}
    person, tool, visit = (entry.get(name) for name in NAMED)
    return {
        "done_by": known.people.get(person or "") or names.person(person),
        "equipment": known.equipment.get(tool or "") or names.equipment(tool),
        "visit": known.visits.get(visit or "") or names.visit(visit),
    }


def _row(line: Line, units: Units) -> dict[str, Any]:
    """What is said, by the columns of the table, with its digest; voltages as they were sent."""
    entry, pack = line.entry, line.pack
    assert pack is not None
    row = {**BLANK, "suspect": [], "pack_id": pack.pk, "set_name": entry.get("set")}
    for name in SAME:
        row[name] = entry.get(name)
    for name, found in line.named.items():
        row[f"{name}_id"] = None if found is None else found.pk
    row["voltages"] = units
    row["external_id"] = entry.get("external_id")
    row["supersedes_id"] = None if line.supersedes is None else line.supersedes.pk
    row["digest"] = _digest(row, entry.get("order", "position"))
    return row


BESIDE = {
    "pack": "pack_id",
    "set": "set_name",
    "done_by": "done_by_id",
    "equipment": "equipment_id",
    "visit": "visit_id",
    "supersedes": "supersedes_id",
}

SORTED = json.JSONEncoder(sort_keys=True)


def _digest(row: Mapping[str, Any], order: str) -> bytes:
    """What `digests.digest` makes of the same content: voltages come last in its order."""
    said = {name: row[name] for name in SAME if row[name] is not None}
    said |= {name: row[column] for name, column in BESIDE.items() if row[column] is not None}
    said["order"] = order
    said["taken_at"] = row["taken_at"].astimezone(UTC).isoformat()
    head = SORTED.encode(said)[:-1]
    text = f'{head}, "voltages": {row["voltages"].tolist()}}}'
    return hashlib.sha256(text.encode()).digest()


def judge_all(lines: Sequence[Line], *, at: datetime, zone: ZoneInfo) -> None:
    """Fill in what follows from each row, or what stands against it."""
    groups = defaultdict(list)
    doubtful = []
    for line in lines:
        if line.pack is not None and _plain(line, at=at, zone=zone):
            order = line.entry.get("order", "position")
            groups[line.pack.pack_type_id, line.row["level"], order].append(line)
        else:
            doubtful.append(line)
    for (_, level, order), alike in groups.items():
        doubtful += _judge_alike(alike, level, order)
    for line in doubtful:
        _judge_alone(line, at=at, zone=zone)


def _plain(line: Line, *, at: datetime, zone: ZoneInfo) -> bool:
    """Whether time, current and count are beyond doubt."""
    row, pack = line.row, line.pack
    assert pack is not None
    kind, current, taken_at = pack.pack_type, row["current_a"], row["taken_at"]
    condition = row["condition"]
    if condition == "rest":
        agrees = abs(current) <= kind.rest_current_max_a
    else:
        agrees = current > 0 if condition == "load" else current < 0
    return (
        agrees
        and taken_at <= at + CLOCK_ERROR
        and (pack.built_on is None or taken_at >= datetime.combine(pack.built_on, time.max, zone))
        and (row["current_min_a"] is None or row["current_max_a"] is None)
        and row["voltages"].size == types.cells(kind, row["level"]).size
    )


def _judge_alike(lines: Sequence[Line], level: str, order: str) -> list[Line]:
    """Judge by column lines of one type, level and order; those in doubt are given back."""
    pack = lines[0].pack
    assert pack is not None
    kind = pack.pack_type
    cells = types.cells(kind, level)
    units = np.stack([line.row["voltages"] for line in lines])
    if order == "monitor":
        if kind.monitor_order is None or len(kind.monitor_order) != cells.size:
            return list(lines)
        by_position = np.empty_like(units)
        by_position[:, np.asarray(kind.monitor_order) - 1] = units
        units = by_position
    good = batches.beyond_doubt(units, cells, kind.chemistry, kind.cell_nominal_v)
    said = batches.summarise(units)
    figures = zip(
        said.spread_v.tolist(),
        said.median_v.tolist(),
        said.weakest.tolist(),
        said.weakest_deviation_v.tolist(),
        strict=True,
    )
    doubtful = []
    for place, (line, sure, told) in enumerate(zip(lines, good.tolist(), figures, strict=True)):
        if not sure:
            doubtful.append(line)
            continue
        row = line.row
        row["voltages"] = units[place]
        row["spread_v"], row["median_v"], weakest, row["weakest_deviation_v"] = told
        row["weakest_position"] = weakest or None
    return doubtful


def _judge_alone(line: Line, *, at: datetime, zone: ZoneInfo) -> None:
    check = line.check()
    try:
        judge(check, at=at, zone=zone, order=line.entry.get("order", "position"))
    except DomainError as error:
        line.refused = error
    else:
        line.row = {name: getattr(check, name) for name in FIELDS}
