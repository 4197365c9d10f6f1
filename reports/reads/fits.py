"""Which fit an outlook is made from, and when the next one is due."""

from datetime import UTC, datetime, timedelta
from functools import lru_cache

from django.db.models import Max, Min

from packs.models import VoltageCheck
from reports.models import FleetWork, StoredFit
from reports.trends.fits import Fit

BEFORE_ALL_DATA = datetime(1900, 1, 1, tzinfo=UTC)  # the prior knows no facts; no car is older
REFIT_EVERY = timedelta(days=1)
GROWN = 2.0  # a fleet whose checks have doubled is fitted again before the day is over
FIRST_CHECKS = 20  # below this many checks there is no fleet to learn from
PUT_OFF = timedelta(hours=1)  # until a fit that failed is tried again


def newest(*, at: datetime) -> StoredFit | None:
    """The fit that an outlook of that instant is made from."""
    return fit_for(as_of=at, known_at=at)


def fit_for(*, as_of: datetime, known_at: datetime) -> StoredFit | None:
    """The best fit that knew facts up to `as_of` only, among those made by `known_at`."""
    return (
        StoredFit.objects.filter(facts_through__lte=as_of, fitted_at__lte=known_at)
        .order_by("facts_through", "fitted_at", "pk")
        .last()
    )


@lru_cache(maxsize=8)
def _parameters_of(pk: int, fitted_at: datetime) -> Fit:
    return Fit.from_parameters(StoredFit.objects.get(pk=pk).parameters)


def loaded(stored: StoredFit) -> Fit:
    """The figures of a stored fit; they never change, so they are read once."""
    return _parameters_of(stored.pk, stored.fitted_at)


def checks_so_far() -> int:
    """How far intake has come: about how many voltage checks there are, told by their numbers."""
    ends = VoltageCheck.objects.aggregate(first=Min("pk"), newest=Max("pk"))
    return 0 if ends["first"] is None else int(ends["newest"] - ends["first"] + 1)


def due(*, at: datetime) -> bool:
    """Whether a day has passed with something new, or the fleet has much grown, since the last."""
    if _put_off(at):
        return False
    last, checks = newest(at=at), checks_so_far()
    if last is None or last.checks_seen == 0:
        return checks >= FIRST_CHECKS
    if checks >= GROWN * last.checks_seen:
        return True
    return at >= last.fitted_at + REFIT_EVERY and checks > last.checks_seen


def _put_off(at: datetime) -> bool:
    """A fit that failed is not tried again at once."""
    ended = FleetWork.objects.filter(kind=FleetWork.Kind.FIT, finished_at__gt=at - PUT_OFF)
    return ended.filter(as_of__isnull=True).exclude(error="").exists()
