"""What the desk knows of a car or a pack that has just come in."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q, QuerySet

from packs.models import Customer, Installation, Pack, Vehicle, Visit, VoltageCheck, Warranty
from packs.reads import sites
from packs.reads.warranties import Term, terms

JUST_ENDED_DAYS = 90  # within which a return is still talked about; common practice, no source
JUST_ENDED_KM = 3_000  # the same, driven; common practice, no source


@dataclass(frozen=True)
class Reading:
    """What an odometer showed, km, and when."""

    km: int
    at: datetime


@dataclass(frozen=True)
class Promise:
    """A warranty that runs, or that has ended: so many days ago, or so many km ago."""

    warranty: Warranty
    term: Term
    running: bool
    days_past: int | None
    km_past: int | None

    @property
    def just_ended(self) -> bool:
        near = (self.days_past or 0) <= JUST_ENDED_DAYS and (self.km_past or 0) <= JUST_ENDED_KM
        return not self.running and near


@dataclass(frozen=True)
class Arrival:
    """A car, its pack, whose it is, and how it was here before; each if known.

    `sits` says whether the pack is recorded as sitting in the car, `still_here` is a stay that
    was not closed yet.
    """

    vehicle: Vehicle | None = None
    pack: Pack | None = None
    sits: bool = False
    owner: Customer | None = None
    reading: Reading | None = None
    visits: tuple[Visit, ...] = ()
    promises: tuple[Promise, ...] = ()
    still_here: Visit | None = None

    @property
    def last(self) -> Visit | None:
        return self.visits[0] if self.visits else None


VISITS_LOOKED_AT = 10


def gather(
    vehicle: Vehicle | None,
    pack: Pack | None,
    *,
    at: datetime,
    odometer_km: int | None = None,
) -> Arrival:
    """What is known of them; of a car without a pack named, the pack that sits in it."""
    inside = [] if vehicle is None else [row.pack for row in sitting(vehicle, at=at)]
    if pack is None and inside:
        pack = inside[0]
    reading = None if vehicle is None else last_reading(vehicle, at=at)
    said = reading.km if odometer_km is None and reading is not None else odometer_km
    return Arrival(
        vehicle=vehicle,
        pack=pack,
        sits=pack in inside,
        owner=None if vehicle is None else vehicle.customer,
        reading=reading,
        visits=tuple(_stays(vehicle, pack)[:VISITS_LOOKED_AT]),
        promises=() if pack is None else promises(pack, at=at, odometer_km=said),
        still_here=still_here(vehicle, pack),
    )


def still_here(
    vehicle: Vehicle | None, pack: Pack | None, *, besides: Visit | None = None
) -> Visit | None:
    """The last stay of the car, or of a pack by itself, that was not closed yet."""
    rows = _stays(vehicle, pack).exclude(state=Visit.State.CLOSED)
    return (rows if besides is None else rows.exclude(pk=besides.pk)).first()


def _stays(vehicle: Vehicle | None, pack: Pack | None) -> QuerySet[Visit]:
    """The stays of the car, or of a pack by itself, the last first."""
    if vehicle is None and pack is None:
        return Visit.objects.none()
    of = {"pack": pack} if vehicle is None else {"vehicle": vehicle}
    return Visit.objects.filter(**of).order_by("-opened_at", "-pk")


def sitting(vehicle: Vehicle, *, at: datetime) -> list[Installation]:
    """What sat in the car at that instant, put in last first."""
    return list(_then(at).filter(vehicle=vehicle).order_by("-installed_at", "-pk"))


def place_of(pack: Pack, *, at: datetime) -> Installation | None:
    """Where the pack sat at that instant."""
    return _then(at).filter(pack=pack).first()


def _then(at: datetime) -> QuerySet[Installation]:
    return Installation.objects.select_related("pack__pack_type", "vehicle").filter(
        Q(removed_at__isnull=True) | Q(removed_at__gt=at),
        voided_at__isnull=True,
        installed_at__lte=at,
    )


def last_reading(vehicle: Vehicle, *, at: datetime) -> Reading | None:
    """The odometer as it was last written down up to that instant."""
    found = max(_readings(vehicle, at), default=None)
    return None if found is None else Reading(km=found[1], at=found[0])


READ = ("taken_at", "odometer_km")


def _readings(vehicle: Vehicle, at: datetime) -> Iterator[tuple[datetime, int]]:
    stays = vehicle.visits.filter(odometer_km__isnull=False, opened_at__lte=at)
    for stay in stays.order_by("-opened_at")[:1]:
        yield stay.opened_at, stay.odometer_km or 0
    had = list(vehicle.installations.filter(voided_at__isnull=True, installed_at__lte=at))
    for row in had:
        if row.installed_km is not None:
            yield row.installed_at, row.installed_km
        if row.removed_at is not None and row.removed_km is not None and row.removed_at <= at:
            yield row.removed_at, row.removed_km
    for row in had:
        if row.removed_at is None:
            checks = VoltageCheck.objects.filter(
                pack=row.pack_id,
                voided_at__isnull=True,
                odometer_km__isnull=False,
                taken_at__range=(row.installed_at, at),
            )
            for taken_at, km in checks.order_by("-taken_at").values_list(*READ)[:1]:
                yield taken_at, km or 0


def promises(pack: Pack, *, at: datetime, odometer_km: int | None) -> tuple[Promise, ...]:
    """The warranties of the pack that run or have ended, judged by the odometer read then."""
    rows = Warranty.objects.filter(pack=pack, voided_at__isnull=True)
    warranties = list(rows.order_by("-starts_on", "-pk"))
    known = terms(warranties, at=at) if warranties else {}
    told = (_promise(row, known[row.pk], at=at, km=odometer_km) for row in warranties)
    return tuple(row for row in told if row.term.state != "not_begun")


def _promise(warranty: Warranty, term: Term, *, at: datetime, km: int | None) -> Promise:
    days_past = None if term.ends_on is None else (sites.day(at) - term.ends_on).days
    km_past = None if term.ends_km is None or km is None else km - term.ends_km
    days_past = days_past if days_past is not None and days_past > 0 else None
    km_past = km_past if km_past is not None and km_past > 0 else None
    running = term.state == "running" and km_past is None
    return Promise(warranty, term, running, days_past, km_past)
