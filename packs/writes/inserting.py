"""Many rows of one table at once: COPY on PostgreSQL, executemany on SQLite."""

from collections.abc import Mapping, Sequence
from typing import Any

from django.db import connection
from django.db.models import Field, Model

from packs.writes.copying import pack_rows

Column = Sequence[Any]
FEW = 50  # rows up to which INSERT costs no more than to open a COPY, measured
PLAIN = (int, float, str)


def insert(model: type[Model], columns: Mapping[str, Column]) -> None:
    """Insert rows given by column, under the names that the model gives them.

    Every column of the table is there and all have one length; voltages are int32 arrays.
    Raises IntegrityError for what the database refuses.
    """
    fields = model._meta.concrete_fields
    count = len(columns[fields[0].attname])
    if connection.vendor == "postgresql" and count > FEW:
        _copy(model, columns)
        return
    prepared = [_prepared(field, columns[field.attname]) for field in fields]
    names = ", ".join(f'"{field.column}"' for field in fields)
    marks = ", ".join(["%s"] * len(fields))
    statement = f'INSERT INTO "{model._meta.db_table}" ({names}) VALUES ({marks})'  # noqa: S608
    rows = list(zip(*prepared, strict=True))
    with connection.cursor() as cursor:
        if count == 1:
            cursor.execute(statement, rows[0])
        else:
            cursor.executemany(statement, rows)


def _prepared(field: "Field[Any, Any]", column: Column) -> Column:
    """The values as the field prepares them for this database; plain ones as they are."""
    if all(value is None or isinstance(value, PLAIN) for value in column):
        return column
    return [
        None if value is None else field.get_db_prep_save(value, connection) for value in column
    ]


def _copy(model: type[Model], columns: Mapping[str, Column]) -> None:
    typed = {
        field.column or "": (_type_name(field), columns[field.attname])
        for field in model._meta.concrete_fields
    }
    order, packed = pack_rows(typed)
    names = ", ".join(f'"{column}"' for column in order)
    statement = f'COPY "{model._meta.db_table}" ({names}) FROM STDIN (FORMAT BINARY)'
    with (
        connection.cursor() as cursor,
        connection.wrap_database_errors,
        cursor.cursor.copy(statement) as copy,
    ):
        copy.write(packed)


def _type_name(field: "Field[Any, Any]") -> str:
    """The name of a column's type, without its length."""
    said = field.db_type(connection)
    assert said is not None
    return said.partition("(")[0]
