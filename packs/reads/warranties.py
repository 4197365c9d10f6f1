"""When warranties end, and in what state each is at an instant."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal
from zoneinfo import ZoneInfo

from django.db.models import Exists, OuterRef, QuerySet, Subquery

from packs.models import Claim, Installation, Pack, Visit, VoltageCheck, Warranty
from packs.reads import sites
from packs.rules.terms import add_months, carried_km

State = Literal["not_begun", "running", "ended", "voided"]
CHAIN_MAX = 20  # replacements of replacements followed back; common practice, no source


@dataclass(frozen=True)
class Term:
    """The end of a warranty: the last day, and the odometer of the car the pack sits in now, km.

    None where it has no such end, or none that is known. `runs_out` is the number of the
    warranty whose term a replacement under claim runs out.
    """

    ends_on: date | None
    ends_km: int | None
    state: State
    runs_out: int | None


@dataclass(frozen=True)
class _Known:
    """What was read for all of them at once; by pack, and for `firsts` by warranty."""

    installations: Mapping[int | None, Sequence[Installation]]
    readings: Mapping[int, tuple[datetime, int]]
    firsts: Mapping[int, Warranty]
    zone: ZoneInfo

    def day(self, instant: datetime) -> date:
        return instant.astimezone(self.zone).date()


def terms(warranties: Sequence[Warranty], *, at: datetime) -> Mapping[int, Term]:
    """By number, the term of each warranty as it stands at that instant."""
    firsts = _firsts(warranties)
    packs = {row.pack_id for row in [*warranties, *firsts.values()]}
    known = _Known(_installations(packs), _readings(packs), firsts, sites.zone())
    today = known.day(at)
    return {row.pk: _term(row, known, today) for row in warranties}


def terms_of_pack(
    warranties: Sequence[Warranty],
    *,
    installations: Iterable[Installation],
    odometer: tuple[datetime, int] | None,
    at: datetime,
) -> Mapping[int, Term]:
    """The same for one pack, from its standing installations and its last odometer reading.

    Costs no query, unless one of the warranties was given under a claim on another: rows of
    `with_claimed` say so, of others it is asked.
    """
    if any(_may_run_out(row) and getattr(row, "claimed", True) for row in warranties):
        return terms(warranties, at=at)
    known = _Known(
        {row.pack_id: sorted(installations, key=_installed_at) for row in warranties[:1]},
        {row.pack_id: odometer for row in warranties[:1] if row.pack_id and odometer},
        {},
        sites.zone(),
    )
    today = known.day(at)
    return {row.pk: _term(row, known, today) for row in warranties}


def with_claimed(rows: QuerySet[Warranty]) -> QuerySet[Warranty]:
    """Each with `claimed`: whether a claim was accepted on the visit that it was given on."""
    claims = Claim.objects.filter(
        visit=OuterRef("visit"), decision=Claim.Decision.ACCEPTED, voided_at__isnull=True
    )
    return rows.annotate(claimed=Exists(claims))


def _installed_at(row: Installation) -> datetime:
    return row.installed_at


def _may_run_out(row: Warranty) -> bool:
    """Whether it can be a replacement under a claim on another warranty."""
    return row.repair_kind == Warranty.RepairKind.REPLACEMENT and row.visit_id is not None


def _term(warranty: Warranty, known: _Known, today: date) -> Term:
    ends_on = _ends_on(warranty, known)
    ends_km = _ends_km(warranty, known, until=None)
    first = known.firsts.get(warranty.pk)
    state: State
    if warranty.voided_at is not None:
        state = "voided"
    elif warranty.starts_on > today:
        state = "not_begun"
    elif (ends_on is not None and today > ends_on) or _driven_past(warranty, ends_km, known):
        state = "ended"
    else:
        state = "running"
    return Term(ends_on, ends_km, state, None if first is None else first.pk)


def _ends_on(warranty: Warranty, known: _Known) -> date | None:
    first = known.firsts.get(warranty.pk)
    if first is not None:
        return _ends_on(first, known)
    return None if warranty.months is None else add_months(warranty.starts_on, warranty.months)


def _ends_km(warranty: Warranty, known: _Known, *, until: date | None) -> int | None:
    """The odometer at the end, in the car where the pack sat `until` that day."""
    first = known.firsts.get(warranty.pk)
    if first is not None:
        base = _ends_km(first, known, until=warranty.starts_on)
    elif warranty.km is None or warranty.starts_km is None:
        base = None
    else:
        base = warranty.starts_km + warranty.km
    carried = carried_km(
        (row.installed_km, row.removed_km) for row in _covered(warranty, known, until)
    )
    return None if base is None or carried is None else base + carried


def _covered(warranty: Warranty, known: _Known, until: date | None) -> list[Installation]:
    """The installations of the pack since the warranty began, in order."""
    return [
        row
        for row in known.installations.get(warranty.pack_id, ())
        if (row.removed_at is None or known.day(row.removed_at) > warranty.starts_on)
        and (until is None or known.day(row.installed_at) < until)
    ]


def _driven_past(warranty: Warranty, ends_km: int | None, known: _Known) -> bool:
    """Whether the car the pack sits in was read beyond the end."""
    reading = known.readings.get(warranty.pack_id or 0)
    if ends_km is None or reading is None:
        return False
    read_at, read_km = reading
    covered = _covered(warranty, known, None)
    since_moved = len(covered) < 2 or read_at >= covered[-1].installed_at
    return since_moved and known.day(read_at) >= warranty.starts_on and read_km > ends_km


def _firsts(warranties: Sequence[Warranty]) -> dict[int, Warranty]:
    """By number, the warranty whose term a replacement runs out; theirs in turn as well."""
    found: dict[int, Warranty] = {}
    asked = list(warranties)
    for _ in range(CHAIN_MAX):
        fresh = _claimed_on_the_same_visit(asked)
        if not fresh:
            break
        found |= fresh
        asked = [row for row in fresh.values() if row.pk not in found]
    return found


def _claimed_on_the_same_visit(warranties: Iterable[Warranty]) -> dict[int, Warranty]:
    replacements = [row for row in warranties if _may_run_out(row)]
    if not replacements:
        return {}
    claims = Claim.objects.filter(
        visit__in={row.visit_id for row in replacements},
        decision=Claim.Decision.ACCEPTED,
        voided_at__isnull=True,
    )
    by_visit = defaultdict(list)
    for claim in claims.select_related("warranty").order_by("warranty__starts_on", "pk"):
        by_visit[claim.visit_id].append(claim.warranty)
    earlier = {
        row.pk: [first for first in by_visit[row.visit_id] if _began(first) < _began(row)]
        for row in replacements
    }
    return {number: firsts[0] for number, firsts in earlier.items() if firsts}


def _began(warranty: Warranty) -> tuple[date, int]:
    """The order in which one can run out another's term, so that no chain closes."""
    return warranty.starts_on, warranty.pk


def _installations(packs: Iterable[int | None]) -> Mapping[int | None, Sequence[Installation]]:
    found = defaultdict(list)
    rows = Installation.objects.filter(pack__in=set(packs), voided_at__isnull=True)
    for row in rows.order_by("installed_at"):
        found[row.pack_id].append(row)
    return found


def _readings(packs: Iterable[int | None]) -> Mapping[int, tuple[datetime, int]]:
    """By pack, when its odometer was last read, and at what, km."""
    checks = VoltageCheck.objects.filter(
        pack=OuterRef("pk"), odometer_km__isnull=False, voided_at__isnull=True
    ).order_by("-taken_at")
    visits = Visit.objects.filter(pack=OuterRef("pk"), odometer_km__isnull=False).order_by(
        "-opened_at"
    )
    rows = Pack.objects.filter(pk__in=set(packs)).annotate(
        checked_at=Subquery(checks.values("taken_at")[:1]),
        checked_km=Subquery(checks.values("odometer_km")[:1]),
        opened_at=Subquery(visits.values("opened_at")[:1]),
        opened_km=Subquery(visits.values("odometer_km")[:1]),
    )
    found: dict[int, tuple[datetime, int]] = {}
    for row in rows:
        told = [(row.checked_at, row.checked_km), (row.opened_at, row.opened_km)]
        known = [(when, km) for when, km in told if when is not None and km is not None]
        if known:
            found[row.pk] = max(known)
    return found
