"""Many numbers as one value of a query, for a value each would cost more than the rows they find;
dates of facts, and words as numbers."""

from collections.abc import Collection, Sequence
from typing import Any

from django.db.models import (
    BooleanField,
    Case,
    DateTimeField,
    F,
    Func,
    IntegerField,
    Q,
    Value,
    When,
)
from django.db.models.functions import Least


class Among(Func):
    """Whether a column is one of these numbers."""

    output_field = BooleanField()

    def __init__(self, column: str, numbers: Collection[int]) -> None:
        super().__init__(F(column))
        self.numbers = ",".join(map(str, numbers))

    def as_postgresql(self, compiler: Any, connection: Any, **extra: Any) -> Any:
        column, given = compiler.compile(self.source_expressions[0])
        return f"{column} = ANY(%s::bigint[])", [*given, f"{{{self.numbers}}}"]

    def as_sqlite(self, compiler: Any, connection: Any, **extra: Any) -> Any:
        column, given = compiler.compile(self.source_expressions[0])
        numbers = f"[{self.numbers}]"
        return f"{column} IN (SELECT value FROM json_each(%s))", [*given, numbers]  # noqa: S608


class Dated(Least):
    """When a fact is dated: when it happened, but never after it was recorded."""

    def __init__(self, happened: str) -> None:
        super().__init__(happened, "recorded_at", output_field=DateTimeField())


class Placed(Case):
    """Where the word that a column holds stands in a list, from 0."""

    def __init__(self, column: str, words: Sequence[str]) -> None:
        whens = [When(Q(**{column: word}), then=Value(place)) for place, word in enumerate(words)]
        super().__init__(*whens, output_field=IntegerField())
