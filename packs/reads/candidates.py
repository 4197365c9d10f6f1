"""Which rows hold a text in a column that is searched, the best first: numbers alone, by index.

Said in SQL, for the same words do on both databases and the index is met by construction: what
begins so lies between two keys, and what stands inside is found by trigrams on PostgreSQL (two
characters have none, there the rows are read), on SQLite by walking the index.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from operator import attrgetter

from django.db import connection

EXACT, PREFIX, INSIDE = range(3)
LAST = "\U0010ffff"  # comes after any other character, by code point and in UTF-8
LIKE_MARKS = str.maketrans({mark: f"\\{mark}" for mark in "\\%_"})

ARM = (
    "SELECT * FROM (SELECT {place}, {column}, id FROM {table}"
    " WHERE {condition} ORDER BY {column} LIMIT {most}) AS found_{place}"
)


@dataclass(frozen=True)
class Sought:
    """What is sought in one column of a kind; several parts stand inside it in any order."""

    kind: str
    table: str
    column: str
    parts: tuple[str, ...]


@dataclass(frozen=True)
class Candidate:
    """A row that was found, by its number, and how well it matches."""

    kind: str
    number: int
    rank: int


def candidates(sought: Sequence[Sought], most: int) -> list[Candidate]:
    """At most a few more than `most` of each kind, by rank and then by their keys.

    One query for what is or begins so, one for what stands inside, and that only where there are
    not enough yet: what matches less well would not be shown.
    """
    found: dict[tuple[str, int], int] = {}
    for inside in (False, True):
        if len(found) < most:
            for kind, number, rank in _matching(sought, most, inside=inside):
                found[kind, number] = min(rank, found.get((kind, number), rank))
    told = [Candidate(kind, number, rank) for (kind, number), rank in found.items()]
    return sorted(told, key=attrgetter("rank"))


def _matching(
    sought: Sequence[Sought], most: int, *, inside: bool
) -> Iterator[tuple[str, int, int]]:
    """Kind, number and rank of rows, in order of what is sought and of their keys."""
    asked = statement(sought, most, inside=inside)
    if asked is None:
        return
    with connection.cursor() as cursor:
        cursor.execute(*asked)
        rows = sorted(cursor.fetchall())
    for place, key, number in rows:
        begins = EXACT if key == sought[place].parts[0] else PREFIX
        yield sought[place].kind, number, INSIDE if inside else begins


def statement(sought: Sequence[Sought], most: int, *, inside: bool) -> tuple[str, list[str]] | None:
    """One query for all that is sought, with its values; None where nothing is."""
    arms: list[str] = []
    values: list[str] = []
    for place, one in enumerate(sought):
        if inside or len(one.parts) == 1:
            condition, given = _inside(one) if inside else _beginning(one)
            where = {"place": place, "table": one.table, "column": one.column}
            arms.append(ARM.format(**where, condition=condition, most=most))
            values += given
    return (" UNION ALL ".join(arms), values) if arms else None


def _beginning(one: Sought) -> tuple[str, list[str]]:
    """What begins with the text, the text itself before all others."""
    text = one.parts[0]
    return f"{one.column} >= %s AND {one.column} < %s", [text, text + LAST]


def _inside(one: Sought) -> tuple[str, list[str]]:
    """What holds every part, anywhere."""
    if connection.vendor == "sqlite":
        held, given = f"instr({one.column}, %s) > 0", list(one.parts)
    else:
        held, given = f"{one.column} LIKE %s", [f"%{p.translate(LIKE_MARKS)}%" for p in one.parts]
    return " AND ".join([held] * len(one.parts)), given
