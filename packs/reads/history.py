"""Everything that ever happened to a pack, newest first, a page at a time."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import cache
from operator import attrgetter
from typing import Any

from django.apps import apps
from django.db.models import BooleanField, Case, Exists, OuterRef, Q, QuerySet, Value, When

from packs.models import Fact, HistoryEntry, Pack, PackType, VoltageCheck
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
class By:
    """Who did it, or else who wrote it down, or else the program that did; as their codes."""

    client: str
    writer: str | None
    doer: str | None

    def __str__(self) -> str:
        return self.doer or self.writer or self.client


@dataclass(frozen=True)
class Checked:
    """What the history tells of a voltage check."""

    pk: int
    revision: int
    taken_at: datetime
    level: str
    condition: str
    current_a: float
    spread_v: float
    weakest_position: int | None
    voided: bool = field(kw_only=True)
    by: By = field(kw_only=True)


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
    checks: Sequence[Checked] | None


def page(
    pack: Pack,
    *,
    kinds: Collection[str],
    size: int,
    before: Place | None = None,
    after: Place | None = None,
    checks: Sequence[Checked] | None = None,
) -> Page:
    """The newest lines of these kinds, or those just older than `before`, or newer than `after`.

    `checks`: all of the pack's, voided ones too, where they were read already.
    """
    backwards = after is not None
    edge = after if backwards else before
    asked = _Asked(pack, kinds, edge, backwards, size, checks)
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
    rows = rows.annotate(voided=_void(frozenset(asked.kinds)))
    told = rows.values_list(
        "happened_at", "revision", "kind", "action", "fact_id", "summary", "voided",
        "client__name", "recorded_by__code", "done_by__code",
    )  # fmt: skip
    heads = kinds_known()
    return [
        Line(
            at=at,
            revision=revision,
            kind=kind,
            summary=_told(summary, voided and action == HistoryEntry.Action.RECORDED),
            by=str(By(client, writer, doer)),
            key=asked.pack.serial if kind == Pack.KIND else encode(heads[kind], fact_id),
            voided=voided,
        )
        for at, revision, kind, action, fact_id, summary, voided, client, writer, doer in _cut(
            told, "happened_at", asked
        )
    ]


@cache
def _void(kinds: frozenset[str]) -> Case:
    """Whether the fact of an entry no longer counts, asked of the table of its kind alone."""
    models: Iterable[Any] = apps.get_app_config(LABEL).get_models()
    facts = [model for model in models if issubclass(model, Fact) and model.KIND in kinds]
    void = {
        model.KIND: Exists(
            model._default_manager.filter(pk=OuterRef("fact_id"), voided_at__isnull=False)
        )
        for model in facts
    }
    return Case(
        *(When(kind=kind, then=exists) for kind, exists in void.items()),
        default=Value(False),
        output_field=BooleanField(),
    )


def _checks(asked: _Asked) -> list[Line]:
    if VoltageCheck.KIND not in asked.kinds:
        return []
    found = _checked(asked) if asked.checks is None else _cut_here(asked.checks, asked)
    return [
        Line(
            at=check.taken_at,
            revision=check.revision,
            kind=VoltageCheck.KIND,
            summary=_told(describe(check, asked.pack.pack_type), check.voided),
            by=str(check.by),
            key=encode(VoltageCheck.PREFIX, check.pk),
            voided=check.voided,
        )
        for check in found
    ]


def _checked(asked: _Asked) -> list[Checked]:
    rows = VoltageCheck.objects.filter(pack=asked.pack).values_list(
        "pk", "revision", "taken_at", "level", "condition", "current_a", "spread_v",
        "weakest_position", "voided_at", "client__name", "recorded_by__code", "done_by__code",
    )  # fmt: skip
    return [
        Checked(*row, voided=voided_at is not None, by=By(client, writer, doer))
        for *row, voided_at, client, writer, doer in _cut(rows, "taken_at", asked)
    ]


def describe(check: Checked, pack_type: PackType) -> str:
    """A check in a line: what was read, under what, and what stands out."""
    count = len(types.cells(pack_type, check.level))
    at_rest = check.condition == VoltageCheck.Condition.REST
    current = "" if at_rest else f" at {abs(check.current_a):.3g} A"
    weakest = check.weakest_position
    lowest = "" if weakest is None else f", {check.level} {weakest} lowest"
    return (
        f"{check.condition.capitalize()} check, {count} {check.level}s{current}: "
        f"spread {check.spread_v:.2f} V{lowest}"
    )


def _cut_here(checks: Sequence[Checked], asked: _Asked) -> Sequence[Checked]:
    """As `_cut`, of rows that were read already."""

    def place(check: Checked) -> tuple[datetime, int]:
        return check.taken_at, check.revision

    rows = sorted(checks, key=place, reverse=not asked.backwards)
    if asked.edge is not None:
        edge = (asked.edge.at, asked.edge.revision)
        rows = [
            row for row in rows if (place(row) > edge if asked.backwards else place(row) < edge)
        ]
    return rows[: asked.size + 1]


def _cut(rows: QuerySet[Any], instant: str, asked: _Asked) -> Sequence[Any]:
    """Rows beyond the edge in order of their places, one more than fill a page."""
    edge = asked.edge
    if edge is not None:
        way = "gt" if asked.backwards else "lt"
        beyond = Q(**{f"{instant}__{way}": edge.at})
        rows = rows.filter(beyond | Q(**{instant: edge.at, f"revision__{way}": edge.revision}))
    sign = "" if asked.backwards else "-"
    return list(rows.order_by(f"{sign}{instant}", f"{sign}revision")[: asked.size + 1])


def _told(summary: str, voided: bool) -> str:
    return f"{summary} (voided)" if voided else summary
