"""What the names in a batch of checks mean, read in one query a kind."""

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

from django.db import connection

from packs.models import Equipment, Pack, PackType, Person, Visit
from packs.reads import names
from packs.rules.identity import decode

Entry = Mapping[str, Any]


INSTANTS = ("settled_at", "last_contact", "estimate_due_at")


@dataclass(slots=True)
class Held:
    """A locked pack, as far as intake reads and writes it: to make a model of each takes longer."""

    pk: int
    serial: str
    pack_type: PackType
    built_on: date | None
    revision: int
    settled_at: datetime
    last_contact: datetime | None
    estimate_due_at: datetime | None

    def model(self) -> Pack:
        """The same as the ORM knows it; what intake does not read is read when it is asked for."""
        names = ("id", "serial", "pack_type_id", "built_on", "revision", *INSTANTS)
        values = (getattr(self, name, None) for name in names[3:])
        made = Pack.from_db("default", names, (self.pk, self.serial, self.pack_type.pk, *values))
        made.pack_type = self.pack_type
        return made


@dataclass(frozen=True)
class Names:
    """The rows behind the keys in a batch; the packs are held until the end."""

    packs: Mapping[str, Held]
    people: Mapping[str, Person]
    equipment: Mapping[str, Equipment]
    visits: Mapping[str, Visit]

    @classmethod
    def of(cls, entries: Sequence[Entry]) -> "Names":
        return cls(
            packs=held({entry["pack"].upper() for entry in entries}),
            people=_by_code(Person, said(entries, "done_by")),
            equipment=_by_code(Equipment, said(entries, "equipment")),
            visits=_visits(said(entries, "visit")),
        )

    def pack(self, serial: str) -> Held:
        """The pack, held; Contradiction for one that is not recorded."""
        found = self.packs.get(serial.upper())
        if found is not None:
            return found
        names.pack(serial)
        return held([serial.upper()])[serial.upper()]  # it was recorded a moment ago

    def beside(self, entry: Entry) -> Mapping[str, Any]:
        """Whom and what it names beside the pack; Contradiction for an unknown one."""
        asked: Sequence[tuple[str, Mapping[str, Any], Callable[[str | None], Any]]] = (
            ("done_by", self.people, names.person),
            ("equipment", self.equipment, names.equipment),
            ("visit", self.visits, names.visit),
        )
        return {
            name: known.get(key) or find(key)
            for name, known, find in asked
            if (key := entry.get(name))
        }


def said(entries: Iterable[Entry], name: str) -> set[str]:
    return {key for entry in entries if (key := entry.get(name))}


def held(serials: Iterable[str]) -> dict[str, Held]:
    """Packs by serial in capitals, locked in one order, so that two batches never wait for each
    other."""
    with connection.cursor() as cursor:
        cursor.execute(*_asked_packs(list(serials)))
        rows = cursor.fetchall()
    kinds = PackType.objects.in_bulk({row[2] for row in rows})
    return {row[1].upper(): _held(row, kinds) for row in rows}


def _held(row: Sequence[Any], kinds: Mapping[int, PackType]) -> Held:
    pk, serial, kind, built_on, revision, settled_at, last_contact, due_at = row
    return Held(
        pk=pk,
        serial=serial,
        pack_type=kinds[kind],
        built_on=built_on and date.fromisoformat(built_on),
        revision=revision,
        settled_at=_instant(settled_at),
        last_contact=last_contact and _instant(last_contact),
        estimate_due_at=due_at and _instant(due_at),
    )


def _asked_packs(serials: Sequence[str]) -> tuple[str, list[Any]]:
    """A statement whose length does not grow with the batch; times as text, which is read faster
    than the driver reads times."""
    told = ", ".join(f"CAST({column} AS text)" for column in INSTANTS)
    asked = (
        "SELECT id, serial, pack_type_id, CAST(built_on AS text), revision, "  # noqa: S608
        f'{told} FROM "{Pack._meta.db_table}" WHERE UPPER(serial)'
    )
    if connection.vendor == "postgresql":
        return f"{asked} = ANY(%s) ORDER BY id FOR UPDATE", [serials]
    among = "SELECT value FROM json_each(%s)"
    return f"{asked} IN ({among}) ORDER BY id", [json.dumps(serials)]


def _instant(text: str) -> datetime:
    """SQLite keeps instants in UTC, and does not say so."""
    found = datetime.fromisoformat(text)
    return found if found.tzinfo is not None else found.replace(tzinfo=UTC)


def _by_code(model: type[Any], codes: set[str]) -> dict[str, Any]:
    return {row.code: row for row in model.objects.filter(code__in=codes)} if codes else {}


def _visits(texts: set[str]) -> dict[str, Visit]:
    numbers = {text: decode(Visit.PREFIX, text) for text in texts}
    wanted = [number for number in numbers.values() if number is not None]
    found = Visit.objects.select_related("pack", "vehicle").in_bulk(wanted) if wanted else {}
    known = {text: found.get(number or -1) for text, number in numbers.items()}
    return {text: visit for text, visit in known.items() if visit is not None}
