"""Fitting the model to the fleet, and keeping every fit."""

import logging
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta

from django.db import transaction

from packs.models import Pack
from reports.models import Duty, StoredFit
from reports.reads import fits, series
from reports.reads.knowledge import Knowledge, known, vantages
from reports.trends import fleet
from reports.trends.history import PackHistory

SHARD = 500  # packs read at a time
REFIT_EVERY = timedelta(days=1)
GROWN = 2.0  # a fleet whose checks have doubled is fitted again before the day is over
FIRST_CHECKS = 20  # below this many checks there is no fleet to learn from
CLAIM = timedelta(minutes=30)  # longer than a fit takes; then somebody else may try
DUTY = "fit"
OUT_OF_USE = {Pack.Status.DISMANTLED, Pack.Status.SCRAPPED}  # told anew for new facts only
log = logging.getLogger(__name__)

Progress = Callable[[int], None]


def fit_fleet(
    *, at: datetime, as_of: datetime | None = None, progress: Progress | None = None
) -> StoredFit:
    """Fit the model to the facts dated up to `as_of` (now unless given) and store the fit.

    Reads the fleet shard by shard; outlooks are then owed anew where the fit is the newest.
    """
    through = as_of or at
    seen = fits.checks_so_far()
    shards = []
    packs = 0
    for histories in _shards(through):
        packs += len(histories)
        shards.append(fleet.gather(histories))
        if progress is not None:
            progress(packs)
    made = fleet.estimate(fleet.merge(shards), through_day=through.timestamp() / 86_400.0)
    return StoredFit.objects.create(
        fitted_at=at,
        facts_through=through,
        parameters=made.parameters(),
        packs=packs,
        checks_seen=seen,
    )


def _shards(through: datetime) -> Iterator[list[PackHistory]]:
    """The fleet's histories up to an instant, in order of the packs' numbers."""
    after = 0
    while True:
        packs = list(
            Pack.objects.select_related("pack_type").filter(pk__gt=after).order_by("pk")[:SHARD]
        )
        if not packs:
            return
        after = packs[-1].pk
        told = known(vantages(packs, as_of=through))
        yield [history for knowledge in told if (history := _readable(knowledge)) is not None]


def _readable(knowledge: Knowledge) -> PackHistory | None:
    """The pack's history; None where nothing is known, or where it cannot be read.

    One pack whose records nobody foresaw must not keep the fleet from learning.
    """
    if knowledge.first_day is None:
        return None
    try:
        return series.history(knowledge)
    except (ArithmeticError, ValueError):
        log.exception("pack %s is left out of the fit", knowledge.vantage.pack.serial)
        return None


def prior() -> StoredFit:
    """The fit that knows no facts at all, stored when it is first needed."""
    before = fits.BEFORE_ALL_DATA
    with transaction.atomic():
        stored = StoredFit.objects.filter(facts_through=before).first()
        return stored or StoredFit.objects.create(
            fitted_at=before,
            facts_through=before,
            parameters=fleet.PRIOR.parameters(),
            packs=0,
            checks_seen=0,
        )


def refit_if_due(*, at: datetime) -> StoredFit | None:
    """Fit the fleet again where a day has passed or it has much grown; None where not due.

    Claimed by one conditional update, so that of two sweeps one does it.
    """
    if not _due(at):
        return None
    Duty.objects.get_or_create(name=DUTY, defaults={"due_at": at})
    if not _claim(at):
        return None
    made = fit_fleet(at=at)
    owe_all(at=at)
    Duty.objects.filter(name=DUTY).update(due_at=at + REFIT_EVERY, claimed_until=None)
    return made


def _due(at: datetime) -> bool:
    newest, checks = fits.newest(at=at), fits.checks_so_far()
    if newest is None or newest.checks_seen == 0:
        return checks >= FIRST_CHECKS
    if checks >= GROWN * newest.checks_seen:
        return True
    return at >= newest.fitted_at + REFIT_EVERY and checks > newest.checks_seen


def _claim(at: datetime) -> bool:
    free = Duty.objects.filter(name=DUTY, claimed_until__isnull=True)
    lapsed = Duty.objects.filter(name=DUTY, claimed_until__lt=at)
    return bool((free | lapsed).update(claimed_until=at + CLAIM))


def owe_all(*, at: datetime) -> None:
    """Every outlook is owed anew, marked in small transactions so that no writer waits long."""
    after = 0
    while True:
        numbers = list(
            Pack.objects.filter(pk__gt=after).order_by("pk").values_list("pk", flat=True)[:5000]
        )
        if not numbers:
            return
        after = numbers[-1]
        Pack.objects.filter(pk__in=numbers).exclude(status__in=OUT_OF_USE).update(
            estimate_due_at=at
        )
