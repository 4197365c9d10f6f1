"""Working out outlooks and storing them, each with the revision and the fit it was made from."""

import logging
from collections.abc import Sequence
from datetime import datetime, timedelta

from django.db import transaction

from packs.models import Pack
from packs.reads import names
from reports.models import FleetShard, Outlook
from reports.reads import fits, outlooks
from reports.reads.knowledge import Vantage, vantages
from reports.writes import shards
from reports.writes.fits import FAILING, OUT_OF_USE, prior

BATCH = 200  # packs at a time: a second or two of work
PUT_OFF = timedelta(hours=1)  # until a pack whose figures fail is tried again
ANEW_AFTER = timedelta(days=1)  # time passes without new facts too: an outlook is a day's
SETTLING = timedelta(minutes=5)  # longer than a write may wait for its pack's lock
TRIES = 5  # how often an outlook that is asked for is begun again while others write
log = logging.getLogger(__name__)


def work_out(pack_ids: Sequence[int], *, at: datetime) -> int:
    """Work out and store the present outlook of these packs; how many were stored.

    A pack that somebody wrote about meanwhile is left owed. Harmless to repeat.
    """
    packs = Pack.objects.select_related("pack_type").filter(pk__in=pack_ids).order_by("pk")
    views = [_from_now(view, at) for view in vantages(packs)]
    if not views:
        return 0
    fit = fits.fit_for(as_of=at, known_at=at) or prior()
    made = outlooks.estimate(views, fit)
    return _store([outlooks.as_row(one, known_at=one.knowledge.vantage.as_of) for one in made])


def work_out_each(pack_ids: Sequence[int], *, at: datetime) -> int:
    """The same; where a batch fails pack by pack, so that one holds up no other."""
    try:
        return work_out(pack_ids, at=at)
    except FAILING:
        log.exception("a batch could not be worked out; its packs are tried one by one")
        return sum(_alone(pack_id, at=at) for pack_id in pack_ids)


def _alone(pack_id: int, *, at: datetime) -> int:
    """One pack by itself; one that cannot be worked out is put off."""
    try:
        return work_out([pack_id], at=at)
    except FAILING:
        log.exception("pack number %s could not be worked out", pack_id)
        Pack.objects.filter(pk=pack_id).update(
            estimate_due_at=at + PUT_OFF, estimate_claimed_until=None
        )
        return 0


def _from_now(view: Vantage, at: datetime) -> Vantage:
    """The pack as of now; never before its own last record, whatever the clocks say."""
    now = max(at, view.pack.settled_at + timedelta.resolution)
    return Vantage(view.pack, view.revision, now, view.limits)


def _store(rows: Sequence[Outlook]) -> int:
    """Store the rows whose pack is still at the revision they were made from."""
    by_pack = {row.pack_id: row for row in rows}
    with transaction.atomic():
        fresh = []
        locked = list(Pack.objects.select_for_update().filter(pk__in=by_pack.keys()).order_by("pk"))
        for pack in locked:
            row = by_pack[pack.pk]
            pack.estimate_claimed_until = None
            if _follows(pack, row):
                pack.settled_at = row.known_at
                ended = pack.status in OUT_OF_USE
                pack.estimate_due_at = None if ended else row.known_at + ANEW_AFTER
                fresh.append(row)
        Pack.objects.bulk_update(
            locked, ["settled_at", "estimate_due_at", "estimate_claimed_until"]
        )
        _end_present(fresh)
        Outlook.objects.bulk_create(fresh)
    return len(fresh)


def _follows(pack: Pack, row: Outlook) -> bool:
    """Nothing was recorded, told or owed anew since the row was begun.

    `row.pack` is the pack as it was read first, before its facts, its limits and the fit; whoever
    changes one of those marks the pack as owed at another instant.
    """
    return (
        pack.revision == row.pack_revision
        and pack.settled_at < row.known_at
        and pack.estimate_due_at == row.pack.estimate_due_at
    )


def _end_present(fresh: Sequence[Outlook]) -> None:
    """What was told until now ends when the new outlook begins."""
    begins = {row.pack_id: row.known_at for row in fresh}
    ending = list(Outlook.objects.filter(pack_id__in=begins.keys(), told_until__isnull=True))
    for row in ending:
        row.told_until = begins[row.pack_id]
    Outlook.objects.bulk_update(ending, ["told_until"])


def present(pack: Pack, *, at: datetime) -> Outlook:
    """The present outlook of a pack; what is owed for it is worked out first.

    Costs one query where nothing is owed.
    """
    for _ in range(TRIES):
        told = outlooks.present(pack)
        if told is not None and not _owed(told, at):
            pack.revision, pack.settled_at = told.pack.revision, told.pack.settled_at
            return told
        work_out([pack.pk], at=at)
    told = outlooks.present(pack)
    if told is None:
        raise TimeoutError(f"pack {pack.serial} is written about faster than it is worked out")
    return told


def present_of(serial: str, *, at: datetime) -> Outlook:
    """The present outlook of the pack of that serial, with the pack; NotFound where there is none.

    Costs one query where nothing is owed.
    """
    told = outlooks.present_of(serial)
    if told is not None and not _owed(told, at):
        return told
    pack = names.keyed(names.packs(), serial__upper=serial.upper())
    return present(pack, at=at)


def _owed(told: Outlook, at: datetime) -> bool:
    """Whether something was recorded, or a day has passed, since the outlook was made."""
    due_at = told.pack.estimate_due_at
    return told.pack_revision != told.pack.revision or (due_at is not None and due_at <= at)


def seen_from(pack: Pack, *, as_of: datetime, known_at: datetime, at: datetime) -> Outlook:
    """What was given at `as_of`, where that is asked; else the figures for that point of view."""
    if known_at > at - SETTLING:
        # A write that is still on its way must not bear an instant that was answered for.
        Pack.objects.filter(pk=pack.pk, settled_at__lt=known_at).update(settled_at=known_at)
    told = outlooks.given(pack, as_of) if as_of == known_at else None
    if told is not None:
        return told
    seen = outlooks.seen_from(pack, as_of=as_of, known_at=known_at)
    if seen is None:
        prior()
        seen = outlooks.seen_from(pack, as_of=as_of, known_at=known_at)
    assert seen is not None
    return seen


def refresh_as_of(pack_ids: Sequence[int], *, as_of: datetime, at: datetime) -> int:
    """Store outlooks as of a past instant by what is known now; they are never the present one."""
    rows = _rows_as_of(pack_ids, as_of, at)
    Outlook.objects.bulk_create(rows)
    return len(rows)


def _rows_as_of(pack_ids: Sequence[int], as_of: datetime, at: datetime) -> list[Outlook]:
    packs = Pack.objects.select_related("pack_type").filter(pk__in=pack_ids).order_by("pk")
    views = vantages(packs, as_of=as_of)
    fit = fits.fit_for(as_of=as_of, known_at=at) or prior()
    rows = [outlooks.as_row(one, known_at=at) for one in outlooks.estimate(views, fit)]
    for row in rows:
        row.told_until = at
    return rows


def refresh_shard(shard: FleetShard, *, at: datetime) -> None:
    """Make the outlooks of a shard anew; begun again after a worker died, only those left."""
    numbers = shards.pack_ids(shard)
    as_of = shard.work.as_of
    if as_of is None:
        _work_out_left(numbers if shard.tries == 1 else _left(numbers, shard), at)
        shards.close(shard, at=at, packs=len(numbers))
        return
    rows = _rows_as_of(numbers, as_of, at)
    with transaction.atomic():
        if shards.close(shard, at=at, packs=len(rows)):
            Outlook.objects.bulk_create(rows)


def _work_out_left(numbers: Sequence[int], at: datetime) -> None:
    for start in range(0, len(numbers), BATCH):
        work_out_each(numbers[start : start + BATCH], at=at)


def _left(numbers: Sequence[int], shard: FleetShard) -> list[int]:
    """Those whose outlook is older than the work."""
    told = Outlook.objects.filter(pack_id__in=numbers, told_until__isnull=True)
    anew = set(told.filter(known_at__gte=shard.work.asked_at).values_list("pack_id", flat=True))
    return [number for number in numbers if number not in anew]
