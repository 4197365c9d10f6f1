"""Many numbers as one value of a query: as so many values they cost more than what they find."""

import json
from collections.abc import Collection
from typing import Any

from django.db import connection
from django.db.models import DateTimeField, FloatField, Func
from django.db.models.expressions import RawSQL
from django.db.models.functions import Least


def among(numbers: Collection[int]) -> RawSQL:
    """What `…__in` takes for these numbers."""
    if connection.vendor == "postgresql":
        return RawSQL("SELECT unnest(%s::bigint[])", [list(numbers)])
    return RawSQL("SELECT value FROM json_each(%s)", [json.dumps(list(numbers))])


class Dated(Func):
    """When a fact is dated: when it happened, but never after it was recorded. On PostgreSQL in
    seconds since 1970, on SQLite as it keeps instants."""

    output_field = FloatField()

    def __init__(self, happened: str) -> None:
        super().__init__(Least(happened, "recorded_at", output_field=DateTimeField()))

    def as_postgresql(self, compiler: Any, connection: Any, **extra: Any) -> Any:
        template = "EXTRACT(EPOCH FROM %(expressions)s)::float8"
        return self.as_sql(compiler, connection, template=template, **extra)

    def as_sqlite(self, compiler: Any, connection: Any, **extra: Any) -> Any:
        return self.as_sql(compiler, connection, template="%(expressions)s", **extra)
