"""Fitting the model to the fleet shard by shard, and keeping every fit."""

import logging
from collections.abc import Iterator, Sequence
from datetime import datetime

import numpy as np
from django.db import DataError, IntegrityError, transaction

from packs.models import Pack
from reports.models import FleetShard, FleetWork, StoredFit
from reports.reads import fits, series
from reports.reads.knowledge import Knowledge, known, vantages
from reports.trends import fleet
from reports.trends.history import PackHistory
from reports.writes import shards

OUT_OF_USE = {Pack.Status.DISMANTLED, Pack.Status.SCRAPPED}  # told anew for new facts only
# What figures nobody foresaw can raise; an error of the connection is none of these.
FAILING = (
    ArithmeticError,
    LookupError,
    ValueError,
    np.linalg.LinAlgError,
    IntegrityError,
    DataError,
)
log = logging.getLogger(__name__)


def gather_shard(shard: FleetShard, *, at: datetime) -> None:
    """Read the packs of a shard, and keep with it what the fit needs of them."""
    packs = Pack.objects.select_related("pack_type").filter(pk__in=shards.pack_ids(shard))
    told = known(vantages(packs.order_by("pk"), as_of=through(shard.work)))
    histories = [history for each in told if (history := _readable(each)) is not None]
    statistics = _gathered(histories)
    packs_read = int(statistics.pack_group.size)
    shards.close(shard, at=at, packs=packs_read, statistics=statistics.as_bytes())


def through(work: FleetWork) -> datetime:
    """Up to when facts count."""
    return work.as_of or work.asked_at


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


def _gathered(histories: Sequence[PackHistory]) -> fleet.Statistics:
    """What the histories say; where one cannot be taken in, what the others say."""
    try:
        return fleet.gather(histories)
    except FAILING:
        log.exception("a shard could not be gathered; its packs are tried one by one")
        return fleet.merge(_one_by_one(histories))


def _one_by_one(histories: Sequence[PackHistory]) -> Iterator[fleet.Statistics]:
    for history in histories:
        try:
            yield fleet.gather([history])
        except FAILING:
            log.exception("a pack is left out of the fit")


def finish(work: FleetWork, *, at: datetime) -> None:
    """Merge what the shards gathered and store the fit, once; outlooks are then owed by it.

    The fit is as old as its last step: by then all that it read was recorded.
    """
    if work.fit_id is None:
        _store(work, at)
    if work.as_of is None:
        owe_all(at=at)


def _kept(shard: FleetShard) -> fleet.Statistics:
    """What a shard gathered."""
    assert shard.statistics is not None
    return fleet.Statistics.from_bytes(bytes(shard.statistics))


def _store(work: FleetWork, at: datetime) -> None:
    merged = fleet.merge(_kept(shard) for shard in work.parts.order_by("number").iterator())
    made = fleet.estimate(merged, through_day=through(work).timestamp() / 86_400.0)
    with transaction.atomic():
        held = FleetWork.objects.select_for_update().get(pk=work.pk)
        if held.fit_id is not None:
            return
        held.fit = StoredFit.objects.create(
            fitted_at=at,
            facts_through=through(work),
            parameters=made.parameters(),
            packs=int(merged.pack_group.size),
            checks_seen=work.checks_seen,
        )
        held.builds = int(merged.build_group.size)
        held.save(update_fields=["fit", "builds"])


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
