"""What the desk has before it this morning: the cars in the shop, and the owners to call."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Case, Exists, F, IntegerField, OuterRef, Q, QuerySet, Value, When

from packs.models import Call, Consent, Core, Edit, Pack, Vehicle, Visit, VoltageCheck
from packs.reads import beginnings, cores, lock_outs
from reports.models import Outlook
from reports.reads import fleet, rhythm

STAYS_MAX = 200  # visits on the page; a shop that never closes one would have thousands
SHOWN_OF_EACH = 20  # calls of one reason on the page; how many more there are is counted
CORES_READ = 500  # overdue ones looked through for owners to call; common practice, no source
RECHECK_APART = timedelta(days=7)  # a check sooner belongs to the release; common practice
RECHECK_LAPSES = timedelta(days=365)  # then the yearly check takes its place; common practice
DAY = timedelta(days=1)
NOTED_BEFORE = timedelta(minutes=15)  # a call often ends before somebody says what is waited for
SETTLING = (Call.Outcome.REACHED, Call.Outcome.BOOKED)
BOOKING_HOLDS = timedelta(days=90)  # a booked day is waited for so long; common practice, no source
STAYS, CORE_CALLS = "stays", "core_calls"
NEEDS_WORD, READY = Visit.WaitsFor.OWNER, Visit.WaitsFor.COLLECTION
MILDER: Mapping[str, tuple[str, ...]] = {
    Outlook.Level.NEAR_LIMIT: ("too_little_data", "settled", "drifting"),
    Outlook.Level.OVER_LIMIT: ("too_little_data", "settled", "drifting", "near_limit"),
    Outlook.Level.TOO_LITTLE_DATA: ("settled", "drifting"),
}
ONE_OVER = Q(level=Outlook.Level.TOO_LITTLE_DATA, spread_now_v__gte=F("limit_v"))


@dataclass(frozen=True)
class Stay:
    """A visit that is not closed; `waits_since` is when it last began to wait for something else.

    `owed` where the outlook is being worked out anew; `answered` where the owner gave an answer
    about extra work since; `open` where a lock-out stands, so that its pack lies open on the bench.
    """

    visit: Visit
    vehicle: Vehicle | None
    outlook: Outlook | None
    owed: bool
    waits_since: datetime
    answered: bool = False
    open: bool = False

    @property
    def ready(self) -> bool:
        return self.visit.state == Visit.State.READY or self.visit.waits_for == READY

    def late(self, at: datetime) -> bool:
        """Promised for an instant that has passed, and not ready."""
        promised = self.visit.promised_at
        return promised is not None and promised < at and not self.ready


@dataclass(frozen=True)
class Need:
    """An owner to call, and why: what it is about hangs on the reason.

    `since`: when the build began that a re-check is missed of. `last` is the last call for that
    reason since it arose.
    """

    reason: Call.Reason
    pack: Pack | None
    vehicle: Vehicle | None = None
    stay: Stay | None = None
    outlook: Outlook | None = None
    core: Core | None = None
    since: datetime | None = None
    last: Call | None = None


@dataclass(frozen=True)
class Today:
    """The page, with the day that it is where the site is.

    `more` counts what is beyond the page: calls by reason, overdue cores, CORE_CALLS, and STAYS.
    """

    day: date
    stays: tuple[Stay, ...]
    needs: tuple[Need, ...]
    cores: tuple[Core, ...]
    more: Mapping[str, int]


def gather(*, at: datetime, zone: ZoneInfo) -> Today:
    """All of it, by as many queries whatever the number of cars."""
    day = at.astimezone(zone).date()
    here, owed, urgent, rechecks = _visits(), _cores(day), _urgent(day, at), _rechecks(day, at)
    visits, due = list(here[:STAYS_MAX]), list(owed[:CORES_READ])
    outlooks, rebuilt = list(urgent[:SHOWN_OF_EACH]), list(rechecks[:SHOWN_OF_EACH])
    packs = {row.pack_id for row in visits} | {row.pack_id for row in outlooks}
    packs |= {row.pk for row in rebuilt} | {row.pack_id for row in due}
    cars = fleet.vehicles_of([number for number in packs if number is not None])
    stays = tuple(_stays(visits, cars, at))
    of_packs = [*_of_packs(outlooks, due, cars), *_of_builds(rebuilt, cars)]
    needs = tuple(_open([*_of_stays(stays), *of_packs], zone, day))
    of_cores = [need for need in needs if need.reason == Call.Reason.CORE]
    beyond = frozenset(of_cores[SHOWN_OF_EACH:])
    return Today(
        day=day,
        stays=stays,
        needs=tuple(need for need in needs if need not in beyond),
        cores=tuple(due[:SHOWN_OF_EACH]),
        more={
            STAYS: here.count() - len(visits),
            Call.Reason.OUTLOOK: urgent.count() - len(outlooks),
            Call.Reason.RECHECK: rechecks.count() - len(rebuilt),
            Call.Reason.CORE: owed.count() - len(due[:SHOWN_OF_EACH]),
            CORE_CALLS: len(beyond),
        },
    )


def _visits() -> QuerySet[Visit]:
    """Those not closed: the next promised first, then the newest."""
    rows = Visit.objects.select_related("vehicle__customer", "pack__pack_type")
    promised = F("promised_at").asc(nulls_last=True)
    return rows.exclude(state=Visit.State.CLOSED).order_by(promised, "-opened_at", "-pk")


def _stays(visits: Sequence[Visit], cars: Mapping[int, Vehicle], at: datetime) -> Iterator[Stay]:
    packs = [row.pack_id for row in visits if row.pack_id]
    told = Outlook.objects.select_related("pack").filter(pack__in=packs, told_until__isnull=True)
    outlooks = {row.pack_id: row for row in told}
    changed, answers, opened = _changed(visits), _answers(visits), _open_on_bench(visits)
    for visit in visits:
        outlook = outlooks.get(visit.pack_id or 0)
        since = changed.get(str(visit.pk), visit.opened_at)
        yield Stay(
            visit,
            vehicle=visit.vehicle or cars.get(visit.pack_id or 0),
            outlook=outlook,
            owed=outlook is None or fleet.owed(outlook, at=at),
            waits_since=since,
            answered=answers.get(visit.pk, since - DAY) >= since - NOTED_BEFORE,
            open=visit.pk in opened,
        )


def _changed(visits: Sequence[Visit]) -> dict[str, datetime]:
    """By number, when it was last said of a visit how it stands or what it waits for."""
    edits = Edit.objects.filter(kind=Visit.KIND, key__in=[str(row.pk) for row in visits])
    return {
        edit.key: edit.recorded_at
        for edit in edits.order_by("version")
        if edit.changes.keys() & {"state", "waits_for"}
    }


def _answers(visits: Sequence[Visit]) -> dict[int, datetime]:
    """By number, when the owner last answered what was asked about extra work."""
    given = Consent.objects.filter(
        visit__in=visits, about=Consent.About.EXTRA_WORK, voided_at__isnull=True
    )
    return {row.visit_id: row.happened_at for row in given.order_by("happened_at")}


def _open_on_bench(visits: Sequence[Visit]) -> set[int]:
    """The numbers of those on which a lock-out stands."""
    standing = lock_outs.not_ended().filter(visit__in=visits)
    return set(standing.values_list("visit_id", flat=True))


def _car(row: Core, cars: Mapping[int, Vehicle]) -> Vehicle | None:
    """The car of the visit that it came from; else the one that the pack sits in now."""
    if row.visit is not None and row.visit.vehicle is not None:
        return row.visit.vehicle
    return cars.get(row.pack_id or 0)


def _here() -> QuerySet[Visit]:
    """The visit, not closed, of the pack of an outer row: who is here is spoken to anyway."""
    return Visit.objects.filter(pack=OuterRef("pack")).exclude(state=Visit.State.CLOSED)


def _settled(reason: Call.Reason, day: date) -> QuerySet[Call]:
    """The last call for a reason about the pack of an outer row, where it leaves nothing to do."""
    same = Call.objects.filter(reason=reason, voided_at__isnull=True)
    later = same.filter(
        Q(happened_at__gt=OuterRef("happened_at"))
        | Q(happened_at=OuterRef("happened_at"), pk__gt=OuterRef("pk")),
        pack=OuterRef("pack"),
    )
    done = Q(again_on__gt=day) | Q(again_on__isnull=True, outcome__in=SETTLING)
    return same.filter(done, ~Exists(later), pack=OuterRef("pack"))


def _booked(day: date, at: datetime) -> QuerySet[Call]:
    """The last call about the outlook, where it booked a day that the car has not come for yet."""
    came = Visit.objects.filter(pack=OuterRef("pack"), opened_at__gte=OuterRef("happened_at"))
    calls = _settled(Call.Reason.OUTLOOK, day).filter(outcome=Call.Outcome.BOOKED)
    return calls.filter(~Exists(came), happened_at__gt=at - BOOKING_HOLDS)


def _urgent(day: date, at: datetime) -> QuerySet[Outlook]:
    """Packs in service near or over their limit whose owners have not been spoken to of it.

    A call counts while no milder level was told after it; a booked day holds whatever is told.
    Over the limit at their only check they are among them.
    """
    present = Outlook.objects.filter(told_until__isnull=True, pack__status=Pack.Status.IN_SERVICE)
    spoken = Q(Exists(_booked(day, at)))
    for level, milder in MILDER.items():
        was_milder = Outlook.objects.filter(
            pack=OuterRef("pack"),
            level__in=milder,
            told_until__gt=OuterRef("happened_at"),
            known_at__lt=F("told_until"),
        )
        settled = _settled(Call.Reason.OUTLOOK, day).filter(~Exists(was_milder))
        spoken |= Q(Exists(settled), level=level)
    over = When(level=Outlook.Level.OVER_LIMIT, then=Value(0))
    one_over = When(ONE_OVER, then=Value(1))
    rows = present.filter(Q(level__in=rhythm.AT_ONCE) | ONE_OVER, ~spoken, ~Exists(_here()))
    first = Case(over, one_over, default=Value(2), output_field=IntegerField())
    return rows.select_related("pack__pack_type").order_by(first, "-p180", "pk")


def _rechecks(day: date, at: datetime) -> QuerySet[Pack]:
    """Packs in service whose last change of modules or joints no check has followed."""
    built = Pack.objects.alias(pack=F("pk"))
    checked = VoltageCheck.objects.filter(
        pack=OuterRef("pack"),
        voided_at__isnull=True,
        taken_at__gte=OuterRef("since") + Value(RECHECK_APART),
    )
    told = Outlook.objects.filter(
        Q(level__in=rhythm.AT_ONCE) | ONE_OVER, pack=OuterRef("pack"), told_until__isnull=True
    )
    spoken = _settled(Call.Reason.RECHECK, day).filter(happened_at__gte=OuterRef("since"))
    rows = built.filter(
        beginnings.rebuilt(), ~Exists(checked), ~Exists(told), ~Exists(spoken), ~Exists(_here()),
        status=Pack.Status.IN_SERVICE,
        since__gt=at - RECHECK_LAPSES,
        since__lte=at - rhythm.FIRST_AFTER,
    )  # fmt: skip
    return rows.order_by("since", "pk")


def _cores(day: date) -> QuerySet[Core]:
    """Old packs that should have come back by now, with whom they are to come from."""
    return cores.overdue(today=day).select_related("pack", "visit__vehicle__customer")


def _of_stays(stays: Iterable[Stay]) -> Iterator[Need]:
    """Who is asked for a word, and who may fetch the car."""
    for stay in stays:
        if stay.ready:
            yield Need(Call.Reason.READY, stay.visit.pack, stay.vehicle, stay=stay)
        elif stay.visit.waits_for == NEEDS_WORD and not stay.answered:
            yield Need(Call.Reason.OWNER_WORD, stay.visit.pack, stay.vehicle, stay=stay)


def _of_packs(
    outlooks: Iterable[Outlook],
    cores: Iterable[Core],
    cars: Mapping[int, Vehicle],
) -> Iterator[Need]:
    """Who is not here, and to be told something or asked to come."""
    for outlook in outlooks:
        car = cars.get(outlook.pack_id)
        yield Need(Call.Reason.OUTLOOK, outlook.pack, car, outlook=outlook)
    for core in cores:
        yield Need(Call.Reason.CORE, core.pack, _car(core, cars), core=core)


def _of_builds(packs: Sequence[Pack], cars: Mapping[int, Vehicle]) -> Iterator[Need]:
    """Whose re-check is missed: called about the car that it was done on, or sits in now."""
    visits = beginnings.visits_of(packs)
    came = Visit.objects.select_related("vehicle__customer").in_bulk(set(visits.values()))
    for pack in packs:
        visit = came.get(visits.get(pack.pk, 0))
        car = (
            visit.vehicle if visit is not None and visit.vehicle is not None else cars.get(pack.pk)
        )
        yield Need(Call.Reason.RECHECK, pack, car, since=pack.since)


def _open(needs: Sequence[Need], zone: ZoneInfo, day: date) -> Iterator[Need]:
    """Those that no call has settled, each with the last that was tried, the pressing first."""
    packs = {need.pack.pk for need in needs if need.pack is not None}
    visits = {need.stay.visit.pk for need in needs if need.stay is not None}
    calls = Call.objects.filter(Q(pack__in=packs) | Q(visit__in=visits), voided_at__isnull=True)
    made = list(calls.order_by("happened_at", "pk"))
    for need in sorted(needs, key=lambda one: PRESSING.index(one.reason)):
        since = _arose(need, zone)
        about = [call for call in made if _about(call, need) and call.happened_at >= since]
        last = about[-1] if about else None
        if need.reason == Call.Reason.OUTLOOK or not settles(last, day):
            yield replace(need, last=last)


PRESSING = (
    Call.Reason.OWNER_WORD,
    Call.Reason.READY,
    Call.Reason.CORE,
    Call.Reason.OUTLOOK,
    Call.Reason.RECHECK,
)


def settles(call: Call | None, day: date) -> bool:
    """Whether a call leaves nothing to do today."""
    if call is None:
        return False
    if call.again_on is not None:
        return call.again_on > day
    return call.outcome in SETTLING


def _about(call: Call, need: Need) -> bool:
    if call.reason != need.reason:
        return False
    if need.stay is not None and call.visit_id is not None:
        return call.visit_id == need.stay.visit.pk
    return need.pack is not None and call.pack_id == need.pack.pk


def _arose(need: Need, zone: ZoneInfo) -> datetime:
    """Calls before this instant were about something else."""
    if need.stay is not None:
        return need.stay.waits_since - NOTED_BEFORE
    if need.since is not None:
        return need.since
    if need.core is not None:
        return datetime.combine(need.core.due_on, time.min, tzinfo=zone)
    assert need.outlook is not None
    return need.outlook.as_of - RECHECK_LAPSES
