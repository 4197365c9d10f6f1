"""The packs with their present outlooks, filtered, ordered and a page at a time."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from django.db.models import (
    Case,
    Count,
    DateTimeField,
    Expression,
    ExpressionWrapper,
    F,
    FloatField,
    Max,
    OrderBy,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    Value,
    When,
)
from django.db.models.functions import Coalesce, Concat

from packs.models import Installation, Pack, Vehicle, VoltageCheck, Warranty
from packs.reads import comparing
from packs.reads.warranties import Term, terms
from packs.rules.vehicles import search_key
from reports.models import Outlook
from reports.reads import rhythm
from reports.trends.outlook import NEAR_SHARE

PAGE = 50  # packs on one page
BATCH = 500  # packs read at a time where all are asked for
DIRECTIONS = {
    "chance": "descending",
    "spread": "descending",
    "growth": "descending",
    "seen": "descending",
    "next": "ascending",
}


@dataclass(frozen=True)
class Asked:
    """Which packs, and in which order; an empty text asks for any.

    `order` is a name of DIRECTIONS; `turned` is against its own direction.
    """

    level: str = ""
    pack_type: str = ""
    status: str = Pack.Status.IN_SERVICE.value
    horizon_days: int = 180
    least_chance: float = 0.0
    seen_since: datetime | None = None
    text: str = ""
    order: str = "chance"
    turned: bool = False


@dataclass(frozen=True)
class Line:
    """One pack with its outlook; `owed` where a newer one is being worked out."""

    outlook: Outlook
    vehicle: Vehicle | None
    last_check: datetime | None
    cover: Term | None
    owed: bool

    @property
    def pack(self) -> Pack:
        return self.outlook.pack

    @property
    def due_at(self) -> datetime:
        """When its next check is due."""
        spread, limit = self.outlook.spread_now_v, self.outlook.limit_v
        near = spread is not None and spread >= NEAR_SHARE * limit
        return rhythm.due_at(self.outlook.level, self.last_check, near=near)


def owed(outlook: Outlook, *, at: datetime) -> bool:
    """Whether something was recorded, or a day has passed, since the outlook was made."""
    pack = outlook.pack
    due = pack.estimate_due_at is not None and pack.estimate_due_at <= at
    return due or pack.revision != outlook.pack_revision


def rows(asked: Asked) -> QuerySet[Outlook]:
    """The present outlooks of the packs asked for, in no order."""
    found = Outlook.objects.filter(told_until__isnull=True)
    same = {
        "level": asked.level,
        "pack__pack_type__code": asked.pack_type,
        "pack__status": asked.status,
    }
    found = found.filter(**{column: said for column, said in same.items() if said})
    if asked.least_chance > 0:
        found = found.filter(**{f"p{asked.horizon_days}__gte": asked.least_chance})
    if asked.seen_since is not None:
        found = found.filter(pack__last_contact__gte=asked.seen_since)
    return found.filter(_named(asked.text)) if asked.text else found


def _named(text: str) -> Q:
    """A part of the serial, or of the plate of the car that the pack sits in now."""
    plates = Installation.objects.filter(
        voided_at__isnull=True,
        removed_at__isnull=True,
        vehicle__plate_key__contains=search_key(text) or text,
    )
    return Q(pack__serial__icontains=text) | Q(pack__in=plates.values("pack"))


def counts(asked: Asked) -> Mapping[str, int]:
    """How many packs there are at each level, whichever level is asked for."""
    found = rows(replace(asked, level="")).values("level").annotate(packs=Count("pk"))
    return {row["level"]: row["packs"] for row in found.order_by()}


def without_outlook(asked: Asked) -> int:
    """Packs of that type and status that have no outlook yet."""
    found = Pack.objects.filter(outlooks__isnull=True)
    same = {"pack_type__code": asked.pack_type, "status": asked.status}
    return found.filter(**{column: said for column, said in same.items() if said}).count()


def ordered(asked: Asked) -> QuerySet[Outlook]:
    """The same, the worst first unless turned."""
    found = rows(asked)
    descending = (DIRECTIONS[asked.order] == "descending") != asked.turned
    if asked.order == "next":
        found = found.annotate(next_due=_next_due())
    if asked.order == "chance":
        first = OrderBy(F(f"p{asked.horizon_days}"), descending=descending)
    else:
        first = OrderBy(COLUMNS[asked.order], descending=descending, nulls_last=True)
    return found.order_by(first, "-pk" if descending else "pk")


def _next_due() -> Case:
    """`rhythm.due_at` in the database."""
    own = Concat("condition", Value("/"), "level")
    checks = VoltageCheck.objects.filter(pack=OuterRef("pack"), voided_at__isnull=True)
    checks = checks.annotate(own=own).filter(own=OuterRef("series"))
    last = Subquery(checks.order_by("-taken_at").values("taken_at")[:1])
    now = Value(rhythm.NOW)
    near = When(spread_now_v__gte=F("limit_v") * NEAR_SHARE, then=now)
    after = [When(level=level, then=last + Value(time)) for level, time in rhythm.AFTER.items()]
    return Case(near, *after, default=now, output_field=DateTimeField())


COLUMNS: Mapping[str, Expression | F] = {
    "spread": ExpressionWrapper(F("spread_now_v") / F("limit_v"), FloatField()),
    "growth": F("growth_per_year"),
    "seen": F("pack__last_contact"),
    "next": Coalesce(F("next_due"), Value(rhythm.NOW), output_field=DateTimeField()),
}


def page(asked: Asked, *, number: int, at: datetime) -> list[Line]:
    """One page of them, counted from 1."""
    first = (number - 1) * PAGE
    return lines(ordered(asked).values_list("pk", flat=True)[first : first + PAGE], at=at)


def every(asked: Asked, *, at: datetime) -> Iterator[Line]:
    """All of them as they stood in order when the first was read, a batch at a time."""
    numbers = list(ordered(asked).values_list("pk", flat=True))
    for first in range(0, len(numbers), BATCH):
        yield from lines(numbers[first : first + BATCH], at=at)


def lines(numbers: Iterable[int], *, at: datetime) -> list[Line]:
    """Outlooks by number, in that order, each with what stands beside it."""
    order = list(numbers)
    found = Outlook.objects.select_related("pack__pack_type").in_bulk(order)
    outlooks = [found[number] for number in order]
    packs = [row.pack_id for row in outlooks]
    cars, checks, covers = vehicles_of(packs), last_checks(outlooks), _covers(packs, at)
    return [
        Line(
            row,
            vehicle=cars.get(row.pack_id),
            last_check=checks.get(row.pack_id),
            cover=covers.get(row.pack_id),
            owed=owed(row, at=at),
        )
        for row in outlooks
    ]


def vehicles_of(packs: Sequence[int]) -> dict[int, Vehicle]:
    """By pack, the car that it sits in now, with its owner."""
    sat = Installation.objects.select_related("vehicle__customer").filter(
        pack__in=packs, voided_at__isnull=True, removed_at__isnull=True
    )
    return {row.pack_id: row.vehicle for row in sat.order_by("installed_at", "pk") if row.pack_id}


def last_checks(outlooks: Sequence[Outlook]) -> dict[int, datetime]:
    """By pack, its last check of the series that its trend is read from."""
    series = {row.pack_id: row.series for row in outlooks}
    kept = VoltageCheck.objects.filter(pack__in=series, voided_at__isnull=True)
    found: dict[int, datetime] = {}
    for row in kept.values("pack", "condition", "level").annotate(last=Max("taken_at")).order_by():
        if series[row["pack"]] == f"{row['condition']}/{row['level']}":
            found[row["pack"]] = row["last"]
    return found


def last_spreads(lines: Sequence[Line]) -> dict[int, float]:
    """By pack, what its last check of the series read, V, under load brought to the reference."""
    last = {(one.pack.pk, one.last_check): one.outlook.series for one in lines if one.last_check}
    if not last:
        return {}
    kept = VoltageCheck.objects.select_related("pack__pack_type", "equipment").filter(
        pack__in={pack for pack, _ in last},
        taken_at__in={at for _, at in last},
        voided_at__isnull=True,
    )
    checks = [
        row
        for row in kept.order_by("pk")
        if last.get((row.pack_id or 0, row.taken_at)) == f"{row.condition}/{row.level}"
    ]
    found: dict[int, float] = {}
    derived = comparing.derive(checks)
    for row in checks:
        spread = row.spread_v if row.condition == "rest" else derived[row.pk].spread_v
        if spread is not None and row.pack_id is not None:
            found[row.pack_id] = spread
    return found


def _covers(packs: Sequence[int], at: datetime) -> dict[int, Term]:
    """By pack, the running warranty that ends last."""
    kept = list(Warranty.objects.filter(pack__in=packs, voided_at__isnull=True))
    ends = terms(kept, at=at)
    running = defaultdict(list)
    for row in kept:
        if row.pack_id is not None and ends[row.pk].state == "running":
            running[row.pack_id].append(ends[row.pk])
    return {pack: max(some, key=_ends) for pack, some in running.items()}


def _ends(term: Term) -> tuple[str, int]:
    """Without a last day it ends after any other."""
    return "9999" if term.ends_on is None else term.ends_on.isoformat(), term.ends_km or 0
