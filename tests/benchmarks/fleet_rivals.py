"""What no fleet work can do without: the bare read of the columns, the bare COPY of the rows."""

from typing import Any

import numpy as np
from django.db import connection
from psycopg import Cursor
from psycopg.pq import Format

AT_ONCE = 10_000  # packs

READS = (
    """SELECT pack_id, revision, voided_revision, extract(epoch FROM least(taken_at, recorded_at))
       ::float8, level, condition, current_a, temperature_c, set_name, voltages
       FROM packs_voltagecheck WHERE pack_id BETWEEN %s AND %s ORDER BY pack_id, taken_at, id""",
    """SELECT id, pack_id, revision, voided_revision, extract(epoch FROM least(done_at, recorded_at))
       ::float8 FROM packs_swap WHERE starts_build AND pack_id BETWEEN %s AND %s""",
    """SELECT c.swap_id, c.position FROM packs_swapchange c JOIN packs_swap s ON s.id = c.swap_id
       WHERE s.pack_id BETWEEN %s AND %s""",
    """SELECT pack_id, revision, voided_revision, failed_on - date '1970-01-01',
       extract(epoch FROM recorded_at)::float8 FROM packs_failure WHERE pack_id BETWEEN %s AND %s""",
    *(
        f"""SELECT pack_id, revision, {void}, extract(epoch FROM least({when}, recorded_at))::float8
            FROM packs_{table} WHERE {when} IS NOT NULL AND pack_id BETWEEN %s AND %s"""
        for table, when, void in (
            ("swap", "done_at", "voided_revision"),
            ("inspection", "happened_at", "voided_revision"),
            ("installation", "installed_at", "voided_revision"),
            ("installation", "removed_at", "voided_revision"),
            ("visit", "opened_at", "NULL"),
        )
    ),
    "SELECT id, pack_type_id, revision, settled_at FROM packs_pack WHERE id BETWEEN %s AND %s",
)


def read(packs: int) -> int:
    """Read what outlooks are made from into arrays; how many rows there were."""
    connection.ensure_connection()
    rows = 0
    with Cursor(connection.connection) as cursor:
        cursor.format = Format.BINARY
        for first in range(1, packs + 1, AT_ONCE):
            for statement in READS:
                cursor.execute(statement, (first, min(first + AT_ONCE - 1, packs)))
                rows += len(_arrays(cursor.fetchall()))
    return rows


def _arrays(rows: list[Any]) -> list[Any]:
    columns: list[Any] = [np.array(column) for column in zip(*rows, strict=True)]
    return rows if columns else []


def outlook_rows() -> bytes:
    """The outlooks that are told now, as COPY has them."""
    statement = (
        "COPY (SELECT * FROM reports_outlook WHERE told_until IS NULL) TO STDOUT (FORMAT BINARY)"
    )
    with connection.cursor() as cursor, cursor.cursor.copy(statement) as out:
        return b"".join(bytes(part) for part in out)


def write(rows: bytes) -> None:
    """COPY them into their own table."""
    with (
        connection.cursor() as cursor,
        cursor.cursor.copy("COPY reports_outlook FROM STDIN (FORMAT BINARY)") as into,
    ):
        into.write(rows)


def empty(*tables: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(f"TRUNCATE {', '.join(tables)}")
