"""Storing checks that are judged: each settled by its external id, stamped, and inserted."""

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import connection

from packs.errors import Conflict, DomainError
from packs.models import Pack, VoltageCheck
from packs.writes.actors import Actor
from packs.writes.check_lines import FIELDS, Line
from packs.writes.inserting import insert
from packs.writes.recording import REVISED, must_stand, revise, sent_otherwise, take_out

LINE_MARK = "\x1e"  # begins what no sender can send: the name of a line under an Idempotency-Key


@dataclass(frozen=True, slots=True)
class Told:
    """What became of a line: the number of its check, and whether this call stored it."""

    number: int
    created: bool


Result = Told | DomainError


def line_id(key: str, number: int) -> str:
    """The external id of a line that was given none."""
    return f"{LINE_MARK}{hashlib.sha256(key.encode()).hexdigest()}#{number}"


def known(lines: Sequence[Line], *, by: Actor) -> dict[str, tuple[int, bytes]]:
    """The numbers and digests of checks stored before under the external ids of these lines."""
    asked = [line.external_id for line in lines if line.external_id and line.unknown is None]
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


def store(
    lines: Sequence[Line],
    stored: Mapping[str, tuple[int, bytes]],
    *,
    by: Actor,
    at: datetime,
) -> list[Result]:
    """Insert what is new, in order, with the revisions of the locked packs; a result a line."""
    fresh: list[Line] = []
    firsts: dict[str, tuple[Line, DomainError | int]] = {}
    results: list[Result | tuple[int, bool]] = []
    for line in lines:
        name = line.external_id or ""
        if name in firsts:
            results.append(_twin(line, *firsts[name]))
            continue
        settled = _settled(line, stored.get(name))
        if settled is not None:
            results.append(settled)
            continue
        error = _stamp(line, by=by, at=at)
        if name:
            firsts[name] = line, len(fresh) if error is None else error
        results.append((len(fresh), True) if error is None else error)
        if error is None:
            fresh.append(line)
    numbers = _insert(fresh)
    return [
        Told(numbers[one[0]], created=one[1]) if isinstance(one, tuple) else one for one in results
    ]


def _twin(line: Line, first: Line, became: DomainError | int) -> Result | tuple[int, bool]:
    """What a line gets that bears the external id of a line before it in the same batch."""
    if line.unknown is not None:
        return line.unknown
    if first.row["digest"] != line.row["digest"]:
        return otherwise(line.external_id or "")
    return (became, False) if isinstance(became, int) else became


def _settled(line: Line, before: tuple[int, bytes] | None) -> Result | None:
    """The result of a line that is not to be stored; None for one that is."""
    if line.unknown is not None:
        return line.unknown
    if before is None:
        return line.refused
    number, content = before
    same = content == line.row["digest"]
    return Told(number, created=False) if same else otherwise(line.external_id or "")


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


def _stamp(line: Line, *, by: Actor, at: datetime) -> DomainError | None:
    """Give the row its revision of the locked pack; answers what stands against that."""
    pack, row = line.pack, line.row
    assert pack is not None
    if line.supersedes is not None:
        try:
            must_stand(line.supersedes, pack=pack, pointer="/supersedes")
        except DomainError as error:
            return error
    row["recorded_at"] = revise(pack, at=at, happened_at=row["taken_at"], save=False)
    row["revision"] = pack.revision
    row["client_id"] = by.client.pk
    row["recorded_by_id"] = None if by.person is None else by.person.pk
    if line.supersedes is not None:
        take_out(line.supersedes, pack=pack, by=by, at=row["recorded_at"], reason="superseded")
    return None


def _insert(lines: Sequence[Line]) -> list[int]:
    """Store the rows and what they made of their packs; the numbers of the rows, in order."""
    if not lines:
        return []
    packs = {line.pack.pk: line.pack for line in lines if line.pack is not None}
    _save(list(packs.values()))
    numbers = _numbers(len(lines))
    rows = [line.row for line in lines]
    columns = {name: [row[name] for row in rows] for name in FIELDS}
    insert(VoltageCheck, {**columns, "id": numbers})
    for row, number in zip(rows, numbers, strict=True):
        row["id"] = number
    return numbers


def _numbers(count: int) -> list[int]:
    """Numbers for so many new rows."""
    table = VoltageCheck._meta.db_table
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(
                "SELECT nextval(pg_get_serial_sequence(%s, 'id')) FROM generate_series(1, %s)",
                [table, count],
            )
            return [row[0] for row in cursor.fetchall()]
        # The write lock is held, so nobody else takes the numbers in between.
        cursor.execute("SELECT seq FROM sqlite_sequence WHERE name = %s", [table])
        last = cursor.fetchone()
        begun = (last[0] if last else 0) + 1
    return list(range(begun, begun + count))


def _save(packs: Sequence[Pack]) -> None:
    """The packs as they stand after their new revisions, in one statement or batch."""
    names = [field for field in Pack._meta.concrete_fields if field.name in REVISED]
    rows = [
        [field.get_db_prep_save(getattr(pack, field.attname), connection) for field in names]
        for pack in packs
    ]
    numbers = [pack.pk for pack in packs]
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            sets = ", ".join(f'"{field.column}" = n."{field.column}"' for field in names)
            arrays = ", ".join(f"%s::{field.db_type(connection)}[]" for field in names)
            said = ", ".join(f'"{field.column}"' for field in names)
            cursor.execute(
                f'UPDATE "{Pack._meta.db_table}" p SET {sets} '  # noqa: S608
                f"FROM unnest(%s::bigint[], {arrays}) AS n(id, {said}) WHERE p.id = n.id",
                [numbers, *(list(column) for column in zip(*rows, strict=True))],
            )
            return
        sets = ", ".join(f'"{field.column}" = %s' for field in names)
        statement = f'UPDATE "{Pack._meta.db_table}" SET {sets} WHERE id = %s'  # noqa: S608
        given = [[*row, number] for row, number in zip(rows, numbers, strict=True)]
        cursor.executemany(statement, given)
