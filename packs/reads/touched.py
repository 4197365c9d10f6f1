"""Everything that names a piece of equipment: what to look at again when it proves bad.

Each kind of record is a table of its own; a page of all of them together takes one query a kind.
"""

import json
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Q, QuerySet, TextField
from django.db.models.functions import Cast

from packs.models import (
    Equipment,
    Fact,
    IsolationCheck,
    LockOut,
    ModuleTest,
    PartTest,
    Reassembly,
    VoltageCheck,
)

Narrow = Callable[[QuerySet[Any], str], QuerySet[Any]]


@dataclass(frozen=True)
class Place:
    """A record's place in the list: instant, rank of its kind, number; no two share one."""

    at: datetime
    rank: int
    number: int


@dataclass(frozen=True)
class Touch:
    """One record that names the piece."""

    kind: str
    place: Place
    fact: Fact

    @property
    def at(self) -> datetime:
        return self.place.at


@dataclass(frozen=True)
class Page:
    """Records in the order asked for, and whether there are more before and after them."""

    touches: tuple[Touch, ...]
    before: bool
    after: bool


@dataclass(frozen=True)
class Asked:
    """One page of what: beyond the edge, towards the front where `backwards`."""

    kinds: Collection[str]
    size: int
    edge: Place | None = None
    backwards: bool = False
    newest_first: bool = True


def _named(*columns: str) -> Callable[[Equipment], Q]:
    def naming(tool: Equipment) -> Q:
        naming = Q()
        for column in columns:
            naming |= Q(**{column: tool})
        return naming

    return naming


def _tool(tool: Equipment) -> Q:
    """Its code among the tools of the fasteners, as JSON writes it, escaped or not."""
    plain = Q(fasteners_text__contains=f'"tool": "{tool.code}"')
    escaped = Q(fasteners_text__contains=f'"tool": {json.dumps(tool.code)}')
    return plain | escaped | Q(meter=tool)


SOURCES: Mapping[str, tuple[type[Fact], str, Callable[[Equipment], Q]]] = {
    VoltageCheck.KIND: (VoltageCheck, "taken_at", _named("equipment")),
    ModuleTest.KIND: (ModuleTest, "ended_at", _named("equipment")),
    PartTest.KIND: (PartTest, "happened_at", _named("equipment")),
    IsolationCheck.KIND: (IsolationCheck, "happened_at", _named("equipment")),
    LockOut.KIND: (LockOut, "happened_at", _named("meter", "gloves")),
    Reassembly.KIND: (Reassembly, "happened_at", _tool),
}
"""By kind: the table, when it happened, and how it names a piece."""

RANKS = {kind: rank for rank, kind in enumerate(SOURCES)}
RELATED = {VoltageCheck.KIND: ("pack__pack_type", "equipment")}


def page(tool: Equipment, asked: Asked, narrow: Narrow | None = None) -> Page:
    """Records naming the piece; `narrow` takes the rows of a kind and leaves those asked for."""
    found = [
        touch
        for kind in SOURCES
        if kind in asked.kinds
        for touch in _touches(tool, kind, asked, narrow)
    ]
    down = asked.newest_first != asked.backwards
    found.sort(key=_order, reverse=down)
    more, kept = len(found) > asked.size, found[: asked.size]
    if asked.backwards:
        return Page(tuple(reversed(kept)), before=more, after=True)
    return Page(tuple(kept), before=asked.edge is not None, after=more)


def _order(touch: Touch) -> tuple[datetime, int, int]:
    return touch.place.at, touch.place.rank, touch.place.number


def _touches(tool: Equipment, kind: str, asked: Asked, narrow: Narrow | None) -> Sequence[Touch]:
    """Those of one kind beyond the edge, one more than fill a page."""
    rows = _rows(tool, kind)
    if narrow is not None:
        rows = narrow(rows, kind)
    _, instant, _ = SOURCES[kind]
    down = asked.newest_first != asked.backwards
    if asked.edge is not None:
        rows = rows.filter(_beyond(asked.edge, instant, RANKS[kind], down=down))
    sign = "-" if down else ""
    return [
        Touch(kind, Place(getattr(row, instant), RANKS[kind], row.pk), row)
        for row in rows.order_by(f"{sign}{instant}", f"{sign}pk")[: asked.size + 1]
    ]


def _rows(tool: Equipment, kind: str) -> QuerySet[Any]:
    model, _, naming = SOURCES[kind]
    rows = model._default_manager.select_related("pack", *RELATED.get(kind, ()))
    if model is Reassembly:
        rows = rows.annotate(fasteners_text=Cast("fasteners", TextField()))
    return rows.filter(naming(tool))


def _beyond(edge: Place, instant: str, rank: int, *, down: bool) -> Q:
    """Later in the order than the edge."""
    way = "lt" if down else "gt"
    further = Q(**{f"{instant}__{way}": edge.at})
    if rank == edge.rank:
        return further | Q(**{instant: edge.at, f"pk__{way}": edge.number})
    if (rank < edge.rank) == down:
        return further | Q(**{instant: edge.at})
    return further
