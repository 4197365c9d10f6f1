"""Many rows of one table at once: COPY on PostgreSQL, executemany on SQLite."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import groupby
from typing import Any

import numpy as np
from django.db import connection
from django.db.models import Field, JSONField, Model
from numpy.typing import NDArray
from psycopg import Cursor
from psycopg.adapt import Buffer, Dumper
from psycopg.pq import Format
from psycopg.types.json import Jsonb

from packs.models.arrays import VoltageArray
from packs.rules.voltages import MISSING

Column = Sequence[Any]
Units = NDArray[np.int32]
FEW = 50  # rows up to which INSERT costs no more than to open a COPY, measured
INT4, INT4_ARRAY = 23, 1007  # object ids of PostgreSQL's own types
NULL = -1  # the length by which the binary form tells a null


def insert(model: type[Model], columns: Mapping[str, Column]) -> None:
    """Insert rows given by column, under the names that the model gives them.

    Every column of the table is there and all have one length; voltages are int32 arrays.
    Raises IntegrityError for what the database refuses.
    """
    fields = model._meta.concrete_fields
    count = len(columns[fields[0].attname])
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql" and count > FEW:
            _copy(cursor.cursor, model, [columns[field.attname] for field in fields])
            return
        prepared = [_prepared(field, columns[field.attname]) for field in fields]
        names = ", ".join(f'"{field.column}"' for field in fields)
        marks = ", ".join(["%s"] * len(fields))
        statement = f'INSERT INTO "{model._meta.db_table}" ({names}) VALUES ({marks})'  # noqa: S608
        cursor.executemany(statement, list(zip(*prepared, strict=True)))


def _prepared(field: "Field[Any, Any]", column: Column) -> Column:
    """The values as the field prepares them for this database; plain ones as they are."""
    if all(value is None or isinstance(value, PLAIN) for value in column):
        return column
    return [
        None if value is None else field.get_db_prep_save(value, connection) for value in column
    ]


PLAIN = (int, float, str)


class PackedUnits(bytes):
    """An integer array in PostgreSQL's binary form already."""


class PackedDumper(Dumper):
    """Hands on what is packed."""

    format = Format.BINARY
    oid = INT4_ARRAY

    def dump(self, obj: Any) -> Buffer | None:
        return bytes(obj)


def pack_units(arrays: Sequence[Units]) -> list[PackedUnits]:
    """Stored units, each shape (p,), as PostgreSQL's binary arrays; MISSING becomes NULL."""
    packed: list[PackedUnits] = []
    for _, group in groupby(arrays, key=_size):
        packed += _pack_alike(np.stack(list(group)))
    return packed


def _size(units: Units) -> tuple[int, bool]:
    return units.size, bool((units == MISSING).any())


ELEMENT = np.dtype([("length", ">i4"), ("unit", ">i4")])
HEAD = np.dtype(">i4")


def _pack_alike(units: Units) -> Iterator[PackedUnits]:
    """Rows of one length, shape (n, p), with something missing in every one or in none."""
    count, positions = units.shape
    gone = units == MISSING
    head = np.array([1, int(gone.any()), INT4, positions, 1], dtype=HEAD).tobytes()
    elements = np.empty(units.shape, dtype=ELEMENT)
    elements["length"], elements["unit"] = units.itemsize, units
    if gone.any():
        yield from (
            PackedUnits(head + _with_nulls(*row)) for row in zip(elements, gone, strict=True)
        )
        return
    whole, width = elements.tobytes(), positions * ELEMENT.itemsize
    for begin in range(0, count * width, width):
        yield PackedUnits(head + whole[begin : begin + width])


def _with_nulls(elements: Any, gone: NDArray[np.bool_]) -> bytes:
    null = np.array(NULL, dtype=HEAD).tobytes()
    return b"".join(
        null if missing else one.tobytes() for one, missing in zip(elements, gone, strict=True)
    )


CONVERT: Mapping[type[Any], Callable[[Column], Column]] = {
    VoltageArray: pack_units,
    JSONField: lambda column: [None if value is None else Jsonb(value) for value in column],
}


def _copy(cursor: Cursor[Any], model: type[Model], columns: Sequence[Column]) -> None:
    fields = model._meta.concrete_fields
    cursor.adapters.register_dumper(PackedUnits, PackedDumper)
    names = ", ".join(f'"{field.column}"' for field in fields)
    statement = f'COPY "{model._meta.db_table}" ({names}) FROM STDIN (FORMAT BINARY)'
    given = [
        CONVERT.get(type(field), list)(column)
        for field, column in zip(fields, columns, strict=True)
    ]
    with cursor.copy(statement) as copy:
        copy.set_types([_type_name(field) for field in fields])
        for row in zip(*given, strict=True):
            copy.write_row(row)


def _type_name(field: "Field[Any, Any]") -> str:
    """The name of a column's type, without its length."""
    said = field.db_type(connection)
    assert said is not None
    return said.partition("(")[0]
