"""Breaking a rule behind the back of the ORM, with the database's own guards out of the way."""

from collections.abc import Sequence
from typing import Any

from django.db import connection


def sql(statement: str, values: Sequence[Any] = ()) -> None:
    """Run one statement as somebody with a database shell would."""
    with connection.cursor() as cursor:
        cursor.execute(statement, values)


def unguard(table: str) -> None:
    """Take a table's triggers and constraints off; the test's rollback restores them."""
    if connection.vendor == "postgresql":
        sql("SET CONSTRAINTS ALL IMMEDIATE")
        sql(f"ALTER TABLE {table} DISABLE TRIGGER USER")
        found = _names(
            "SELECT conname FROM pg_constraint WHERE contype IN ('x', 'c')"
            " AND conrelid = %s::regclass",
            table,
        )
        for name in found:
            sql(f"ALTER TABLE {table} DROP CONSTRAINT {name}")
    else:
        sql("PRAGMA ignore_check_constraints = ON")
        wanted = "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = %s"
        for name in _names(wanted, table):
            sql(f'DROP TRIGGER "{name}"')


def _names(statement: str, table: str) -> list[str]:
    with connection.cursor() as cursor:
        cursor.execute(statement, [table])
        return [row[0] for row in cursor.fetchall()]


def guard() -> None:
    """SQLite's own checks are a setting of the connection, not of the transaction."""
    if connection.vendor == "sqlite":
        sql("PRAGMA ignore_check_constraints = OFF")
