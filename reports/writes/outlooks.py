"""Working out outlooks and storing them, each with the revision and the fit it was made from."""

import logging
from collections.abc import Sequence
from datetime import datetime, timedelta

import numpy as np
from django.db import transaction
from django.db.models import Case, DateTimeField, Value, When

from packs.models import Pack
from packs.reads import names
from reports.models import FleetShard, Outlook
from reports.reads import fits, outlooks
from reports.reads.among import Among
from reports.reads.outlooks import Estimate
from reports.reads.vantages import Standing, locked, looked_at, microseconds, vantages_of
from reports.writes import shards, storing
from reports.writes.fits import FAILING, OUT_OF_USE, prior

BATCH = 1000  # packs at a time: about half a second of work
PUT_OFF = timedelta(hours=1)  # until a pack whose figures fail is tried again
ANEW_AFTER = timedelta(days=1)  # time passes without new facts too: looked at daily
OLDEST = timedelta(days=7)  # an outlook that is told, though it says the same; common practice
SETTLING = timedelta(minutes=5)  # longer than a write may wait for its pack's lock
TRIES = 5  # how often an outlook that is asked for is begun again while others write
log = logging.getLogger(__name__)


def work_out(pack_ids: Sequence[int], *, at: datetime, anew: bool = False) -> int:
    """Work out and store the present outlook of these packs; how many were stored.

    A pack that somebody wrote about meanwhile is left owed. One whose outlook would say what the
    one that is told says already keeps that, unless all are wanted `anew`. Harmless to repeat.
    """
    stand, views = looked_at(pack_ids, at=at)
    if not views:
        return 0
    fit = fits.fit_for(as_of=at, known_at=at) or prior()
    return _store(outlooks.estimate(views, fit), stand, anew=anew)


def work_out_each(pack_ids: Sequence[int], *, at: datetime, anew: bool = False) -> int:
    """The same; where a batch fails pack by pack, so that one holds up no other."""
    try:
        return work_out(pack_ids, at=at, anew=anew)
    except FAILING:
        log.exception("a batch could not be worked out; its packs are tried one by one")
        return sum(_alone(pack_id, at=at, anew=anew) for pack_id in pack_ids)


def _alone(pack_id: int, *, at: datetime, anew: bool) -> int:
    """One pack by itself; one that cannot be worked out is put off."""
    try:
        return work_out([pack_id], at=at, anew=anew)
    except FAILING:
        log.exception("pack number %s could not be worked out", pack_id)
        Pack.objects.filter(pk=pack_id).update(
            estimate_due_at=at + PUT_OFF, estimate_claimed_until=None
        )
        return 0


def _store(made: Sequence[Estimate], stand: Standing, *, anew: bool) -> int:
    """Store the estimates whose pack still stands as it did when they were begun.

    `stand` was read first, before the facts, the limits and the fit; whoever changes one of those
    raises the revision, or marks the pack as owed at another instant.
    """
    as_of_us = np.array([microseconds(one.view.as_of) for one in made], dtype=np.int64)
    with transaction.atomic():
        now = locked(stand.number.tolist())
        follows = now.same(stand) & (now.settled_us < as_of_us)
        stale = now.number[~follows].tolist()
        if stale:
            Pack.objects.filter(Among("pk", stale)).update(estimate_claimed_until=None)
        fresh = [made[place] for place in np.flatnonzero(follows).tolist()]
        if not anew:
            fresh = _go_on(fresh)
        told_from = [one.view.as_of for one in fresh]
        for instant in set(told_from):
            _begin([one.view.pack.pk for one in fresh if one.view.as_of == instant], instant)
        storing.store(Outlook, outlooks.columns(fresh, known_at=told_from))
    return len(fresh)


def _go_on(made: Sequence[Estimate]) -> list[Estimate]:
    """Those that say something new; of the others what is told goes on, and is due a day later."""
    same = outlooks.told_already(made, at_most=OLDEST)
    for instant in {one.view.as_of for one in made}:
        numbers = [one.view.pack.pk for one in made if one.view.as_of == instant]
        going_on = Pack.objects.filter(Among("pk", same.intersection(numbers)))
        if same:
            going_on.update(estimate_due_at=_next(instant), estimate_claimed_until=None)
    return [one for one in made if one.view.pack.pk not in same]


def _next(at: datetime) -> Case:
    """When the outlook is owed again, if nothing is recorded before."""
    out_of_use = When(status__in=OUT_OF_USE, then=None)
    when = DateTimeField(null=True)
    return Case(out_of_use, default=Value(at + ANEW_AFTER, when), output_field=when)


def _begin(numbers: Sequence[int], at: datetime) -> None:
    """New outlooks of these packs begin; what was told of them until now ends."""
    Pack.objects.filter(Among("pk", numbers)).update(
        settled_at=at, estimate_due_at=_next(at), estimate_claimed_until=None
    )
    ending = Outlook.objects.filter(Among("pack_id", numbers), told_until__isnull=True)
    ending.update(told_until=at)


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
    made = _as_of(pack_ids, as_of, at)
    with transaction.atomic():
        _store_past(made, at)
    return len(made)


def _as_of(pack_ids: Sequence[int], as_of: datetime, at: datetime) -> list[Estimate]:
    views = vantages_of(pack_ids, as_of=as_of)
    fit = fits.fit_for(as_of=as_of, known_at=at) or prior()
    return outlooks.estimate(views, fit) if views else []


def _store_past(made: Sequence[Estimate], at: datetime) -> None:
    known_at = [at] * len(made)
    storing.store(Outlook, outlooks.columns(made, known_at=known_at, told_until=at))


def refresh_shard(shard: FleetShard, *, at: datetime) -> None:
    """Make the outlooks of a shard anew; begun again after a worker died, only those left."""
    numbers = shards.pack_ids(shard)
    as_of = shard.work.as_of
    if as_of is None:
        work_out_each(numbers if shard.tries == 1 else _left(numbers, shard), at=at, anew=True)
        shards.close(shard, at=at, packs=len(numbers))
        return
    made = _as_of(numbers, as_of, at)
    with transaction.atomic():
        if shards.close(shard, at=at, packs=len(made)):
            _store_past(made, at)


def _left(numbers: Sequence[int], shard: FleetShard) -> list[int]:
    """Those whose outlook is older than the work."""
    told = Outlook.objects.filter(pack_id__in=numbers, told_until__isnull=True)
    anew = set(told.filter(known_at__gte=shard.work.asked_at).values_list("pack_id", flat=True))
    return [number for number in numbers if number not in anew]
