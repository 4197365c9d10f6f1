"""Whether the register keeps up: what is owed, the fits, work under way, and what comes in."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Count, Max, Min

from packs.models import Pack, VoltageCheck
from reports.models import FleetWork, StoredFit
from reports.reads import fits

LATE = timedelta(minutes=10)  # many sweeps of a few seconds; common practice, no source
WORK_LATE = timedelta(hours=1)  # a fleet of 100,000 packs takes minutes; common practice, no source
HOUR, DAY = timedelta(hours=1), timedelta(days=1)
LATELY = 10  # fits and pieces of work that are told


@dataclass(frozen=True)
class Owed:
    """Packs whose outlook is owed, and since when the one that waits longest."""

    packs: int
    oldest: datetime | None


@dataclass(frozen=True)
class Intake:
    """Voltage checks recorded; `total` told by their numbers, so about."""

    hour: int
    day: int
    total: int


@dataclass(frozen=True)
class Fitted:
    """A fit, and how many builds it was made on; None where that was not noted."""

    fit: StoredFit
    builds: int | None


@dataclass(frozen=True)
class Watch:
    """All of it at an instant. `fit_due_since` is None where no fit is due."""

    owed: Owed
    intake: Intake
    fits: tuple[Fitted, ...]
    works: tuple[FleetWork, ...]
    fit_due_since: datetime | None

    @property
    def under_way(self) -> tuple[FleetWork, ...]:
        return tuple(work for work in self.works if work.finished_at is None)

    @property
    def failed(self) -> FleetWork | None:
        """The last fit for the present, where it ended in an error."""
        ended = (w for w in self.works if w.finished_at is not None and w.as_of is None)
        last = next((work for work in ended if work.kind == FleetWork.Kind.FIT), None)
        return last if last is not None and last.error else None


def watch(*, at: datetime) -> Watch:
    """Look at all of it; every query by an index, and none grows with the register but a count."""
    return Watch(
        owed=owed(at=at),
        intake=intake(at=at),
        fits=last_fits(),
        works=works(),
        fit_due_since=fit_due_since(at=at),
    )


def owed(*, at: datetime) -> Owed:
    """What the sweep has still to do."""
    due = Pack.objects.filter(estimate_due_at__lte=at)
    found = due.aggregate(packs=Count("pk"), oldest=Min("estimate_due_at"))
    return Owed(found["packs"], found["oldest"])


def works() -> tuple[FleetWork, ...]:
    """What is under way, and what was lately, the newest first."""
    newest = FleetWork.objects.select_related("fit").order_by("-asked_at", "-pk")
    under_way = list(newest.filter(finished_at__isnull=True))
    return (*under_way, *newest.filter(finished_at__isnull=False)[:LATELY])


def last_fits(most: int = LATELY) -> tuple[Fitted, ...]:
    """The newest fits that were made on packs, with the builds where they were noted."""
    rows = StoredFit.objects.filter(packs__gt=0).defer("parameters").order_by("-fitted_at", "-pk")
    made = list(rows[:most])
    noted = FleetWork.objects.filter(fit__in=[fit.pk for fit in made])
    builds = dict(noted.values_list("fit_id", "builds"))
    return tuple(Fitted(fit, builds.get(fit.pk)) for fit in made)


def intake(*, at: datetime) -> Intake:
    """Voltage checks of the last hour and day, and in all."""
    hour, day = (_recorded_since(at - span) for span in (HOUR, DAY))
    return Intake(hour, day, fits.checks_so_far())


def _recorded_since(instant: datetime) -> int:
    """Checks recorded since. They are numbered as they come, so few numbers need a look."""
    first = first_check_since(instant)
    if first is None:
        return 0
    return VoltageCheck.objects.filter(pk__gte=first.pk, recorded_at__gte=instant).count()


def first_check_since(instant: datetime) -> VoltageCheck | None:
    """The first check recorded since, found by halving the numbers that it can have."""
    ends = VoltageCheck.objects.aggregate(low=Min("pk"), high=Max("pk"))
    if ends["low"] is None:
        return None
    rows = VoltageCheck.objects.only("pk", "recorded_at").order_by("pk")
    low, high, found = ends["low"], ends["high"], None
    while low <= high:
        middle = (low + high) // 2
        row = rows.filter(pk__gte=middle).first()
        assert row is not None  # the highest number is never below the middle
        if row.recorded_at >= instant:
            found, high = row, middle - 1
        else:
            low = row.pk + 1
    return found


def fit_due_since(*, at: datetime) -> datetime | None:
    """Since when a fit is due, as near as can be told; None where none is due."""
    if not fits.due(at=at):
        return None
    last = fits.newest(at=at)
    if last is None or last.checks_seen == 0:
        newest = VoltageCheck.objects.only("pk", "recorded_at").order_by("-pk").first()
        return None if newest is None else newest.recorded_at
    new = first_check_since(last.fitted_at)
    due_at = last.fitted_at + fits.REFIT_EVERY
    return due_at if new is None else max(due_at, new.recorded_at)


def late(seen: Watch, *, at: datetime) -> tuple[str, ...]:
    """Which parts are late: any of owed, work, fit, failed."""
    oldest, due = seen.owed.oldest, seen.fit_due_since
    found = {
        "owed": oldest is not None and oldest < at - LATE,
        "work": any(work.asked_at < at - WORK_LATE for work in seen.under_way),
        "failed": seen.failed is not None,
        "fit": due is not None and due < at - LATE and not seen.under_way,
    }
    return tuple(name for name, is_late in found.items() if is_late)
