"""Everything that ever happened to a pack, newest first, a page at a time."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from operator import attrgetter
from typing import Any

from django.apps import apps
from django.db.models import Q, QuerySet

from packs.models import Fact, HistoryEntry, Pack, VoltageCheck
from packs.reads import types
from packs.reads.roles import TABLE, may
from packs.rules.identity import encode

LABEL = "packs"


@dataclass(frozen=True)
class Place:
    """A line's place in the history: no two lines of a pack share one."""

    at: datetime
    revision: int


@dataclass(frozen=True)
class Line:
    """Something that happened: `link` names the fact, `voided` says that it no longer counts."""

    at: datetime
    revision: int
    kind: str
    summary: str
    by: str
    key: str
    voided: bool

    @property
    def place(self) -> Place:
        return Place(self.at, self.revision)


@dataclass(frozen=True)
class Page:
    """Lines, newest first, and whether there are newer and older ones beyond."""

    lines: tuple[Line, ...]
    newer: bool
    older: bool


@dataclass(frozen=True)
class _Asked:
    """One page of what: beyond the edge, towards the newer ones where `backwards`."""

    pack: Pack
    kinds: Collection[str]
    edge: Place | None
    backwards: bool
    size: int


def page(
    pack: Pack,
    *,
    kinds: Collection[str],
    size: int,
    before: Place | None = None,
    after: Place | None = None,
) -> Page:
    """The newest lines of these kinds, or those just older than `before`, or newer than `after`."""
    backwards = after is not None
    edge = after if backwards else before
    asked = _Asked(pack, kinds, edge, backwards, size)
    found = [*_entries(asked), *_checks(asked)]
    found.sort(key=attrgetter("place.at", "place.revision"), reverse=not backwards)
    more, lines = len(found) > size, found[:size]
    if backwards:
        return Page(tuple(reversed(lines)), newer=more, older=True)
    return Page(tuple(lines), newer=before is not None, older=more)


def kinds_known() -> Mapping[str, str]:
    """By kind of fact, the head of its opaque ids."""
    models: Iterable[Any] = apps.get_app_config(LABEL).get_models()
    return {model.KIND: model.PREFIX for model in models if getattr(model, "KIND", "")}


def resource_of(kind: str) -> str:
    """Where facts of that kind are found: the plural, with hyphens."""
    words = kind.replace("_", "-")
    return f"{words[:-1]}ies" if words.endswith("y") else f"{words}s"


def kinds_for(roles: frozenset[str]) -> list[str]:
    """The kinds of fact that these roles may read elsewhere."""
    return [
        kind
        for kind in kinds_known()
        if resource_of(kind) in TABLE and may(roles, resource_of(kind), write=False)
    ]


def _entries(asked: _Asked) -> list[Line]:
    rows = HistoryEntry.objects.filter(pack=asked.pack, kind__in=asked.kinds)
    rows = rows.select_related("client", "recorded_by", "done_by")
    found = _cut(rows, "happened_at", asked)
    voided = _voided(found)
    heads = kinds_known()
    return [
        Line(
            at=row.happened_at,
            revision=row.revision,
            kind=row.kind,
            summary=_told(row.summary, (row.kind, row.fact_id) in voided and _records(row)),
            by=_by(row),
            key=asked.pack.serial
            if row.kind == Pack.KIND
            else encode(heads[row.kind], row.fact_id),
            voided=(row.kind, row.fact_id) in voided,
        )
        for row in found
    ]


def _records(row: HistoryEntry) -> bool:
    return row.action == HistoryEntry.Action.RECORDED


def _checks(asked: _Asked) -> list[Line]:
    if VoltageCheck.KIND not in asked.kinds:
        return []
    rows = VoltageCheck.objects.filter(pack=asked.pack).defer(
        "voltages", "suspect", "temperatures_c"
    )
    rows = rows.select_related("client", "recorded_by", "done_by", "pack__pack_type")
    return [
        Line(
            at=check.taken_at,
            revision=check.revision or 0,
            kind=check.KIND,
            summary=_told(describe(check), check.voided_at is not None),
            by=_by(check),
            key=encode(check.PREFIX, check.pk),
            voided=check.voided_at is not None,
        )
        for check in _cut(rows, "taken_at", asked)
    ]


def describe(check: VoltageCheck) -> str:
    """A check in a line: what was read, under what, and what stands out."""
    assert check.pack is not None
    count = len(types.cells(check.pack.pack_type, check.level))
    at_rest = check.condition == VoltageCheck.Condition.REST
    current = "" if at_rest else f" at {abs(check.current_a):.3g} A"
    weakest = check.weakest_position
    lowest = "" if weakest is None else f", lowest position {weakest}"
    return (
        f"{check.condition.capitalize()} check, {count} {check.level}s{current}: "
        f"spread {check.spread_v:.2f} V{lowest}"
    )


def _cut(rows: QuerySet[Any], instant: str, asked: _Asked) -> Sequence[Any]:
    """Rows beyond the edge in order of their places, one more than fill a page."""
    edge = asked.edge
    if edge is not None:
        way = "gt" if asked.backwards else "lt"
        beyond = Q(**{f"{instant}__{way}": edge.at})
        rows = rows.filter(beyond | Q(**{instant: edge.at, f"revision__{way}": edge.revision}))
    sign = "" if asked.backwards else "-"
    return list(rows.order_by(f"{sign}{instant}", f"{sign}revision")[: asked.size + 1])


def _voided(entries: Sequence[HistoryEntry]) -> set[tuple[str, int]]:
    """Which facts of these entries no longer count, in one query a kind."""
    named = defaultdict(list)
    for entry in entries:
        named[entry.kind].append(entry.fact_id)
    return {
        (model.KIND, pk)
        for model in apps.get_app_config(LABEL).get_models()
        if issubclass(model, Fact) and model.KIND in named
        for pk in model._default_manager.filter(
            pk__in=named[model.KIND], voided_at__isnull=False
        ).values_list("pk", flat=True)
    }


def _told(summary: str, voided: bool) -> str:
    return f"{summary} (voided)" if voided else summary


def _by(row: HistoryEntry | VoltageCheck) -> str:
    """Who did it, or else who wrote it down, or else the program that did."""
    person = row.done_by or row.recorded_by
    return row.client.name if person is None else person.code
