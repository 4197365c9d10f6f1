"""Rows of judgement, many at once, with the numbers that the database gives them."""

from collections.abc import Mapping, Sequence
from typing import Any

from django.db import connection
from django.db.models import Max, Model

from packs.writes.inserting import insert


def store(model: type[Model], columns: Mapping[str, Sequence[Any]]) -> None:
    """Insert rows given by column, all but their numbers; within a transaction."""
    count = len(next(iter(columns.values())))
    if count:
        insert(model, {**columns, "id": _numbers(model, count)})


NEXT = """
WITH mine AS MATERIALIZED (SELECT pg_get_serial_sequence(%s, 'id')::regclass AS numbers)
SELECT nextval(mine.numbers) FROM mine, generate_series(1, %s)"""


def _numbers(model: type[Model], count: int) -> list[int]:
    """Numbers for new rows, in order."""
    table = model._meta.db_table
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute(NEXT, [table, count])
            return [row[0] for row in cursor.fetchall()]
    # The write lock is held, so nobody else takes the numbers in between.
    newest = model._default_manager.aggregate(newest=Max("pk"))["newest"] or 0
    return list(range(newest + 1, newest + 1 + count))
