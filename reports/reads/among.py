"""Many numbers as one value of a query, and instants as plain figures: a value each would cost more
than the rows they find."""

import json
from collections.abc import Collection
from typing import Any

from django.db.models import BooleanField, DateTimeField, F, FloatField, Func
from django.db.models.functions import Least


class Among(Func):
    """Whether a column is one of these numbers."""

    output_field = BooleanField()

    def __init__(self, column: str, numbers: Collection[int]) -> None:
        super().__init__(F(column))
        self.numbers = list(numbers)

    def as_postgresql(self, compiler: Any, connection: Any, **extra: Any) -> Any:
        column, given = compiler.compile(self.source_expressions[0])
        return f"{column} = ANY(%s::bigint[])", [*given, self.numbers]

    def as_sqlite(self, compiler: Any, connection: Any, **extra: Any) -> Any:
        column, given = compiler.compile(self.source_expressions[0])
        numbers = json.dumps(self.numbers)
        return f"{column} IN (SELECT value FROM json_each(%s))", [*given, numbers]  # noqa: S608


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
