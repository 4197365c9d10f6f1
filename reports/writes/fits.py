"""Fitting the model to the fleet shard by shard, and keeping every fit."""

import logging
from collections.abc import Iterator, Sequence
from datetime import datetime

import numpy as np
from django.db import DataError, IntegrityError, connection, transaction

from packs.models import Pack
from reports.models import FleetShard, FleetWork, StoredFit
from reports.reads import fits, series
from reports.reads import statistics as reading
from reports.reads.knowledge import known
from reports.reads.vantages import Vantage, vantages_of
from reports.trends import fleet, statistics
from reports.trends.history import Floats
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
    """Bring together what the fit needs of a shard's packs, and keep it with the shard.

    Of a pack about which nothing was recorded since, it is read as it was kept; of the others it
    is gathered from their records, and kept.
    """
    work, numbers = shard.work, shards.pack_ids(shard)
    standing = reading.still_standing(numbers, through=through(work), known_at=work.as_of)
    gathered = _gathered([number for number in numbers if number not in standing], work)
    merged = fleet.merge([reading.kept(sorted(standing)), gathered])
    packs = int(merged.pack_key.size)
    shards.close(shard, at=at, packs=packs, statistics=merged.as_bytes())


def through(work: FleetWork) -> datetime:
    """Up to when facts count."""
    return work.as_of or work.asked_at


def _gathered(numbers: Sequence[int], work: FleetWork) -> fleet.Statistics:
    """What the records of these packs say; where one cannot be taken in, what the others say."""
    if not numbers:
        return statistics.nothing()
    now = through(work)
    found = vantages_of(numbers, as_of=work.as_of)
    views = [Vantage(one.pack, one.revision, now, one.limits) for one in found]
    keep = work.as_of is None
    try:
        return _gathered_of(views, keep=keep)
    except FAILING:
        log.exception("some packs could not be gathered; they are tried one by one")
        return fleet.merge(_one_by_one(views, keep=keep))


def _one_by_one(views: Sequence[Vantage], *, keep: bool) -> Iterator[fleet.Statistics]:
    """One pack whose records nobody foresaw must not keep the fleet from learning."""
    for view in views:
        try:
            yield _gathered_of([view], keep=keep)
        except FAILING:
            log.exception("pack %s is left out of the fit", view.pack.serial)


def _gathered_of(views: Sequence[Vantage], *, keep: bool) -> fleet.Statistics:
    seen = known(views)
    found = fleet.gather(series.histories(seen))
    if keep:
        _keep(views, seen.last_day, found)
    return found.only(np.flatnonzero(~np.isnan(seen.first_day)))


def _keep(views: Sequence[Vantage], last_day: Floats, found: fleet.Statistics) -> None:
    """Keep the sums of packs of which nothing was recorded after the instant they were read for.

    A row made from an older revision never takes the place of a newer one's.
    """
    counts, figures = statistics.to_keep(found)
    days = np.nan_to_num(last_day, nan=0.0).tolist()
    rows = [
        (
            view.pack.pk,
            view.revision,
            reading.ratings_as_text(view.limits),
            found.names[group] if known_of else "",
            day,
            *count,
            sums if known_of else b"",
        )
        for view, group, known_of, day, count, sums in zip(
            views, found.pack_group, (~np.isnan(last_day)).tolist(), days, counts.tolist(), figures,
            strict=True,
        )
        if view.pack.settled_at <= view.as_of
    ]  # fmt: skip
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.executemany(KEEP, rows)


KEEP = """
INSERT INTO reports_packstatistics
    (pack_id, revision, ratings, "group", last_day, builds, landmarks, followed, figures)
VALUES (%s, %s, %s, %s, %s, %s, %s, %s, %s)
ON CONFLICT (pack_id) DO UPDATE SET
    revision = excluded.revision, ratings = excluded.ratings, "group" = excluded."group",
    last_day = excluded.last_day, builds = excluded.builds, landmarks = excluded.landmarks,
    followed = excluded.followed, figures = excluded.figures
WHERE excluded.revision >= reports_packstatistics.revision"""


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
            packs=int(merged.pack_key.size),
            checks_seen=work.checks_seen,
        )
        held.builds = int(merged.build_pack.size)
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
