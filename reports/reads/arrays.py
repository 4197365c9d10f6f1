"""Rows of a query as arrays, a column each.

PostgreSQL lays each column out as one value, so that nothing is made of a row or a field; from
SQLite, which has no server to ask, rows come one by one.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from typing import Any

import numpy as np
from django.db import connection
from django.db.models import QuerySet
from numpy.typing import NDArray
from psycopg import Cursor
from psycopg.pq import Format

from packs.rules.voltages import MISSING
from reports.trends import segments
from reports.trends.segments import Counts

Units = NDArray[np.int32]
Packed = bytes | None

UNKNOWN = int(np.iinfo(np.int64).min)  # an instant that is not told
SINCE_1970_US = 946_684_800_000_000  # of 2000-01-01, from which PostgreSQL counts microseconds
HEAD = 20  # bytes of an array before its elements: dimensions, nulls, type, length, first place
NULL = -1  # the length of an element that is null


class Kind(Enum):
    """What is made of a column.

    NUMBER: int64, never null. REAL: float64, NaN for null. INSTANT: int64, microseconds since 1970
    (UTC), UNKNOWN for null. DAY: float64, days since 1970. WORDS: a list of texts or None. UNITS:
    stored voltages of each row.
    """

    NUMBER = 1
    REAL = 2
    INSTANT = 3
    DAY = 4
    WORDS = 5
    UNITS = 6


@dataclass(frozen=True, eq=False)
class Ragged:
    """Arrays of whatever length, end to end: that of row k from start[k] to start[k + 1]."""

    start: Counts
    values: Units

    def only(self, rows: Counts) -> "Ragged":
        """Those of some rows, in that order."""
        if rows.size == self.start.size - 1 and np.array_equal(rows, np.arange(rows.size)):
            return self
        _, where = segments.spread_out(self.start[rows], self.start[rows + 1])
        return ragged(np.diff(self.start)[rows], self.values[where])


def ragged(counts: Counts, values: Units) -> Ragged:
    """By how many there are of each row."""
    return Ragged(np.concatenate([[0], np.cumsum(counts)]).astype(np.int_), values)


def columns(rows: QuerySet[Any, Any], *kinds: Kind) -> list[Any]:
    """The columns of a values_list, each as its kind says; in the order of the rows."""
    if connection.vendor == "postgresql":
        return _laid_out(*rows.query.sql_with_params(), kinds)
    found = list(zip(*fetched(rows), strict=True)) or [()] * len(kinds)
    return [_FROM_VALUES[kind](column) for kind, column in zip(kinds, found, strict=True)]


def fetched(rows: QuerySet[Any, Any]) -> list[tuple[Any, ...]]:
    """Rows as the database's own module gives them: the ORM would make objects of every value."""
    statement, given = rows.query.sql_with_params()
    with connection.cursor() as cursor:
        cursor.execute(statement, given)
        found: list[tuple[Any, ...]] = cursor.fetchall()
        return found


def _laid_out(statement: str, given: Sequence[Any], kinds: Sequence[Kind]) -> list[Any]:
    names = [f"c{place}" for place in range(len(kinds))]
    wanted = ", ".join(
        _AGGREGATES[kind].format(name) for kind, name in zip(kinds, names, strict=True)
    )
    whole = f"SELECT {wanted} FROM ({statement}) AS found({', '.join(names)})"  # noqa: S608
    connection.ensure_connection()
    with connection.wrap_database_errors, Cursor(connection.connection) as cursor:
        cursor.format = Format.BINARY
        cursor.execute(whole.encode(), given)
        told = cursor.fetchone()
    assert told is not None
    return [_FROM_BYTES[kind](column) for kind, column in zip(kinds, told, strict=True)]


_AGGREGATES: Mapping[Kind, str] = {
    Kind.NUMBER: "array_send(array_agg({}::bigint))",
    Kind.REAL: "array_send(array_agg(coalesce({}::float8, 'NaN')))",
    Kind.INSTANT: "array_send(array_agg(coalesce({}::timestamptz, '-infinity')))",
    Kind.DAY: "array_send(array_agg(({} - date '1970-01-01')::float8))",
    Kind.WORDS: "array_agg({}::text)",
    Kind.UNITS: "string_agg(array_send({}), ''::bytea)",
}


def _eights(packed: Packed, kind: str) -> NDArray[Any]:
    """The elements of an array of eight bytes each."""
    if packed is None:
        return np.zeros(0, dtype=kind)
    found = np.frombuffer(packed, dtype=[("size", ">i4"), ("value", f">{kind}")], offset=HEAD)
    return found["value"].astype(kind)


def _instants(packed: Packed) -> Counts:
    since = _eights(packed, "i8")
    told: Counts = np.where(since == UNKNOWN, UNKNOWN, since + SINCE_1970_US)
    return told


def _units(packed: Packed) -> Ragged:
    """Arrays of int4 one after the other; all of one length, none with a null, as they mostly
    are, at once, else one by one."""
    if packed is None:
        return ragged(np.zeros(0, dtype=np.int_), np.zeros(0, dtype=np.int32))
    count = int.from_bytes(packed[12:16], "big")
    size = HEAD + 8 * count
    if len(packed) % size == 0:
        rows = np.frombuffer(packed, dtype=np.uint8).reshape(-1, size)
        if np.all(rows[:, :HEAD] == rows[0, :HEAD]) and not any(packed[4:8]):
            elements = np.ascontiguousarray(rows[:, HEAD:]).view(">i4").reshape(-1, 2)
            return ragged(np.full(len(rows), count), elements[:, 1].astype(np.int32))
    return _one_by_one(packed)


def _one_by_one(packed: bytes) -> Ragged:
    whole = np.frombuffer(packed, dtype=">i4").astype(np.int32)
    counts, parts, place = [], [], 0
    while place < whole.size:
        nulls, count = whole[place + 1], int(whole[place + 3])
        place += HEAD // 4
        if nulls:
            values, place = _with_nulls(whole, place, count)
        else:
            values = whole[place + 1 : place + 2 * count : 2]
            place += 2 * count
        counts.append(count)
        parts.append(values)
    return ragged(np.array(counts, dtype=np.int_), np.concatenate(parts))


def _with_nulls(whole: Units, place: int, count: int) -> tuple[Units, int]:
    """The elements that begin there, each after its length, and where they end."""
    values = np.full(count, MISSING, dtype=np.int32)
    for element in range(count):
        told = whole[place] != NULL
        if told:
            values[element] = whole[place + 1]
        place += 1 + int(told)
    return values, place


_FROM_BYTES: Mapping[Kind, Callable[[Any], Any]] = {
    Kind.NUMBER: lambda packed: _eights(packed, "i8"),
    Kind.REAL: lambda packed: _eights(packed, "f8"),
    Kind.INSTANT: _instants,
    Kind.DAY: lambda packed: _eights(packed, "f8"),
    Kind.WORDS: lambda told: told or [],
    Kind.UNITS: _units,
}


def units_of(arrays: Sequence[Any]) -> Ragged:
    """Stored units of each row, given as little-endian bytes or as arrays of them."""
    counts = np.array([memoryview(row).nbytes // 4 for row in arrays], dtype=np.int_)
    joined = np.frombuffer(b"".join(bytes(row) for row in arrays), dtype="<i4")
    return ragged(counts, joined.astype(np.int32))


def _from_texts(instants: Sequence[str | None]) -> Counts:
    """NumPy keeps what is not told as UNKNOWN too."""
    return np.array(instants, dtype="datetime64[us]").astype(np.int64)


_FROM_VALUES: Mapping[Kind, Callable[[Sequence[Any]], Any]] = {
    Kind.NUMBER: lambda values: np.array(values, dtype=np.int64),
    Kind.REAL: lambda values: np.array(values, dtype=np.float64),
    Kind.INSTANT: _from_texts,
    Kind.DAY: lambda days: np.array(days, dtype="datetime64[D]").astype(np.float64),
    Kind.WORDS: list,
    Kind.UNITS: units_of,
}
