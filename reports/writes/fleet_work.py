"""The fleet's work, piece by piece: by the sweep, by workers that are called, or by a command."""

import logging
from collections.abc import Callable
from datetime import datetime

from reports.models import FleetShard, FleetWork, StoredFit
from reports.reads import fits as reading
from reports.writes import fits, outlooks, shards
from reports.writes.fits import FAILING
from reports.writes.shards import FIT, OUTLOOKS

Clock = Callable[[], datetime]
log = logging.getLogger(__name__)


def ask_fit(*, at: datetime, as_of: datetime | None = None) -> FleetWork:
    """Ask for a fit to the facts dated up to `as_of`, or up to now."""
    return shards.ask(FIT, at=at, as_of=as_of)


def ask_refresh(*, at: datetime, as_of: datetime | None = None) -> FleetWork:
    """Ask for all outlooks anew, as of an instant, or of now."""
    return shards.ask(OUTLOOKS, at=at, as_of=as_of)


def ask_if_due(*, at: datetime) -> bool:
    """Ask for a fit where one is due; whether it was asked for."""
    if shards.under_way(FIT) is not None or not reading.due(at=at):
        return False
    ask_fit(at=at)
    return True


def advance(*, at: datetime, work: FleetWork | None = None) -> bool:
    """Do one piece of what is under way: a shard, or the last step; False where none is free."""
    shard = shards.claim(at=at, work=work)
    if shard is None:
        return _end_one(at, work)
    _do(shard, at)
    return True


def take(shard_id: int, *, clock: Clock) -> bool:
    """Do that shard, and the work's last step if it was the last; False where it is not free."""
    shard = shards.claim(at=clock(), pk=shard_id)
    if shard is None:
        return False
    _do(shard, clock())
    _end_one(clock(), shard.work)
    return True


def _do(shard: FleetShard, at: datetime) -> None:
    """A shard that fails is told, and tried again like one whose worker died."""
    try:
        if shard.work.kind == FIT:
            fits.gather_shard(shard, at=at)
        else:
            outlooks.refresh_shard(shard, at=at)
    except FAILING as error:
        log.exception("shard %s of fleet work %s failed", shard.number, shard.work_id)
        shards.note(shard.work, f"shard {shard.number}: {type(error).__name__}")
    finally:
        shards.let_go(shard)


def _end_one(at: datetime, work: FleetWork | None) -> bool:
    """End work whose shards are done, or that cannot be done."""
    for shard in shards.stuck(at=at, work=work):
        told = shard.work.error or f"shard {shard.number}"
        shards.end(shard.work, at=at, error=f"given up: {told}, begun {shard.tries} times")
        return True
    ready = shards.claim_last_step(at=at, work=work)
    if ready is None:
        return False
    _finish(ready, at)
    return True


def _finish(work: FleetWork, at: datetime) -> None:
    if work.tries > shards.MOST_TRIES:
        shards.end(work, at=at, error=f"given up: its last step, begun {work.tries - 1} times")
        return
    try:
        if work.kind == FIT:
            fits.finish(work, at=at)
        shards.end(work, at=at)
    except FAILING as error:
        log.exception("the last step of fleet work %s failed", work.pk)
        shards.end(work, at=at, error=f"last step: {type(error).__name__}")
    finally:
        shards.let_go_last_step(work)


def fit_fleet(*, at: datetime, as_of: datetime | None = None) -> StoredFit:
    """Fit the fleet here and now, all by the clock that is given; the stored fit."""
    work = ask_fit(at=at, as_of=as_of)
    while advance(at=at, work=work):
        pass
    work.refresh_from_db()
    if work.fit is None:
        raise TimeoutError(work.error or "another worker has a part of this fit; try again shortly")
    return work.fit
