"""Storing checks that are judged: each settled by its external id, stamped, and inserted."""

import hashlib
import json
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, NamedTuple

from django.db import connection

from packs.errors import Conflict, DomainError
from packs.models import Pack, VoltageCheck
from packs.writes.actors import Actor
from packs.writes.check_lines import Lines
from packs.writes.check_names import Held
from packs.writes.inserting import insert
from packs.writes.recording import REVISED, go_forward, must_stand, sent_otherwise, take_out

LINE_MARK = "\x1e"  # begins what no sender can send: the name of a line under an Idempotency-Key


class Told(NamedTuple):
    """What became of a line: the number of its check, and whether this call stored it."""

    number: int
    created: bool


class Coming(NamedTuple):
    """What becomes of a line: the place of its check among those to be inserted."""

    place: int
    created: bool


Result = Told | DomainError
Stored = Mapping[str, tuple[int, bytes]]


def line_id(key: str, number: int) -> str:
    """The external id of a line that was given none."""
    return f"{LINE_MARK}{hashlib.sha256(key.encode()).hexdigest()}#{number}"


def known(lines: Lines, *, by: Actor) -> Stored:
    """The numbers and digests of checks stored before under the external ids of these lines."""
    names = lines.columns["external_id"]
    asked = [name for place, name in enumerate(names) if name and place not in lines.unknown]
    if not asked:
        return {}
    among = (
        "= ANY(%s)" if connection.vendor == "postgresql" else "IN (SELECT value FROM json_each(%s))"
    )
    given = asked if connection.vendor == "postgresql" else json.dumps(asked)
    with connection.cursor() as cursor:
        cursor.execute(
            f"SELECT external_id, id, digest FROM {VoltageCheck._meta.db_table} "  # noqa: S608
            f"WHERE client_id = %s AND external_id {among}",
            [by.client.pk, given],
        )
        return {name: (number, bytes(content)) for name, number, content in cursor.fetchall()}


def store(lines: Lines, stored: Stored, *, by: Actor, at: datetime) -> list[Result]:
    """Insert what is new, in order, with the revisions of the locked packs; a result a line."""
    fresh: list[int] = []
    firsts: dict[str, tuple[int, Coming]] = {}
    results: list[Result | Coming] = []
    for place, name in enumerate(lines.columns["external_id"]):
        if name in firsts:
            results.append(_twin(lines, place, *firsts[name]))
            continue
        settled: Result | Coming | None = _settled(lines, place, stored.get(name))
        if settled is None:
            settled = _stamp(lines, place, by=by, at=at) or Coming(len(fresh), created=True)
            if isinstance(settled, Coming):
                fresh.append(place)
                if name:
                    firsts[name] = place, settled
        results.append(settled)
    numbers = _insert(lines, fresh, by=by)
    return [
        Told(numbers[one.place], one.created) if isinstance(one, Coming) else one for one in results
    ]


def _twin(lines: Lines, place: int, first: int, became: Coming) -> Result | Coming:
    """What a line gets that bears the external id of a line stored before it in the same batch."""
    if place in lines.unknown:
        return lines.unknown[place]
    digests = lines.columns["digest"]
    if digests[first] != digests[place]:
        return otherwise(lines.columns["external_id"][place])
    return became._replace(created=False)


def _settled(lines: Lines, place: int, before: tuple[int, bytes] | None) -> Result | None:
    """The result of a line that is not to be stored; None for one that is."""
    if place in lines.unknown:
        return lines.unknown[place]
    if before is None:
        return lines.refused.get(place)
    number, content = before
    if content == lines.columns["digest"][place]:
        return Told(number, created=False)
    return otherwise(lines.columns["external_id"][place])


def otherwise(external_id: str) -> Conflict:
    """The sentence for an external id that came before with other content."""
    if external_id.startswith(LINE_MARK):
        return Conflict.at(
            "",
            "idempotency_key_reused",
            "This line was sent before under this Idempotency-Key with other content; "
            "send the same lines again, or use another key.",
        )
    return sent_otherwise(external_id)


def _stamp(lines: Lines, place: int, *, by: Actor, at: datetime) -> DomainError | None:
    """Give the row its revision of the locked pack; answers what stands against that."""
    pack, columns = lines.packs[place], lines.columns
    assert pack is not None
    superseded = lines.supersedes.get(place)
    if superseded is not None:
        try:
            must_stand(superseded, pack=pack, pointer="/supersedes")
        except DomainError as error:
            return error
    happened_at = columns["taken_at"][place]
    columns["recorded_at"][place] = go_forward(pack, at=at, happened_at=happened_at)
    columns["revision"][place] = pack.revision
    if superseded is not None:
        take_out(superseded, pack=pack, by=by, at=pack.settled_at, reason="superseded")
    return None


def _insert(lines: Lines, places: Sequence[int], *, by: Actor) -> list[int]:
    """Store the rows and what they made of their packs; the numbers of the rows, in order."""
    if not places:
        return []
    packs = {pack.pk: pack for pack in map(lines.packs.__getitem__, places) if pack is not None}
    _save(list(packs.values()))
    numbers = _numbers(len(places))
    _number(lines, places, numbers, by)
    columns = lines.columns
    # In one order of external ids, so that two batches never wait for each other in the index.
    order = sorted(places, key=lambda place: columns["external_id"][place] or "")
    if order != list(range(len(lines))):
        columns = {name: [column[place] for place in order] for name, column in columns.items()}
    insert(VoltageCheck, columns)
    return numbers


def _number(lines: Lines, places: Sequence[int], numbers: Sequence[int], by: Actor) -> None:
    columns = lines.columns
    columns["client_id"] = [by.client.pk] * len(lines)
    columns["recorded_by_id"] = [None if by.person is None else by.person.pk] * len(lines)
    for place, number in zip(places, numbers, strict=True):
        columns["id"][place] = number


def _numbers(count: int) -> list[int]:
    """Numbers for so many new rows."""
    table = VoltageCheck._meta.db_table
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(
                "SELECT nextval((SELECT pg_get_serial_sequence(%s, 'id')::regclass)) "
                "FROM generate_series(1, %s)",
                [table, count],
            )
            return [row[0] for row in cursor.fetchall()]
        # The write lock is held, so nobody else takes the numbers in between.
        cursor.execute("SELECT seq FROM sqlite_sequence WHERE name = %s", [table])
        last = cursor.fetchone()
        begun = (last[0] if last else 0) + 1
    return list(range(begun, begun + count))


def _save(packs: Sequence[Held]) -> None:
    """The packs as they stand after their new revisions, in one statement or batch."""
    fields = [field for field in Pack._meta.concrete_fields if field.name in REVISED]
    columns = {field: [getattr(pack, field.attname) for pack in packs] for field in fields}
    numbers = [pack.pk for pack in packs]
    if connection.vendor == "postgresql":
        _save_together(numbers, columns)
        return
    sets = ", ".join(f'"{field.column}" = %s' for field in fields)
    statement = f'UPDATE "{Pack._meta.db_table}" SET {sets} WHERE id = %s'  # noqa: S608
    prepared = [
        [field.get_db_prep_save(value, connection) for value in column]
        for field, column in columns.items()
    ]
    with connection.cursor() as cursor:
        cursor.executemany(statement, list(zip(*prepared, numbers, strict=True)))


def _save_together(numbers: Sequence[int], columns: Mapping[Any, Sequence[Any]]) -> None:
    """On PostgreSQL: one statement, to which each column goes as one text."""
    sets = ", ".join(f'"{field.column}" = n."{field.column}"' for field in columns)
    arrays = ", ".join(f"%s::{field.db_type(connection)}[]" for field in columns)
    names = ", ".join(f'"{field.column}"' for field in columns)
    with connection.cursor() as cursor:
        cursor.execute(
            f'UPDATE "{Pack._meta.db_table}" p SET {sets} '  # noqa: S608
            f"FROM unnest(%s::bigint[], {arrays}) AS n(id, {names}) WHERE p.id = n.id",
            [_as_array(column) for column in (numbers, *columns.values())],
        )


def _as_array(column: Sequence[Any]) -> str:
    """Numbers or instants as PostgreSQL reads them in an array."""
    told = ",".join(["NULL" if value is None else f'"{value}"' for value in column])
    return f"{{{told}}}"
