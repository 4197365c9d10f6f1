"""The fleet's work as rows: asked for once, its shards claimed one by one, ended once.

Each step is a conditional update, the same on both databases, so that a worker may die, a message
may be lost or come twice, and what was done once is not counted again.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta

from django.db import IntegrityError, connection, transaction
from django.db.models import F, Q, QuerySet

from packs.models import Pack
from reports.models import FleetShard, FleetWork
from reports.reads.fits import checks_so_far

SHARD = 2000  # packs of a shard: a second of work or less, lost at most if a worker dies
CLAIM = timedelta(minutes=2)  # many times what a shard takes; then another worker may have it
LAST_STEP = timedelta(minutes=15)  # above a task's own limit of time, and a merge takes less
MOST_TRIES = 10  # a shard that kills its worker each time must not do so for ever
CALL_AGAIN = timedelta(minutes=5)  # messages that brought nobody are sent again
CANDIDATES = 20  # free shards looked at in one go; others may be quicker with the first

FIT, OUTLOOKS = FleetWork.Kind.FIT, FleetWork.Kind.OUTLOOKS


def free(at: datetime) -> Q:
    """Nobody has it, or who had it died."""
    return Q(claimed_until__isnull=True) | Q(claimed_until__lt=at)


def under_way(kind: str, *, as_of: datetime | None = None) -> FleetWork | None:
    """The work of that kind that has not ended."""
    found = FleetWork.objects.filter(kind=kind, finished_at__isnull=True)
    if as_of is None:
        return found.filter(as_of__isnull=True).first()
    return found.filter(as_of=as_of).first()


def ask(kind: str, *, at: datetime, as_of: datetime | None = None, size: int = SHARD) -> FleetWork:
    """Ask for work on the fleet; what was asked for before and has not ended goes on."""
    try:
        return under_way(kind, as_of=as_of) or _begin(kind, at, as_of, size)
    except IntegrityError:  # somebody asked for it in the same moment
        return FleetWork.objects.filter(kind=kind, as_of=as_of).latest("pk")


def _begin(kind: str, at: datetime, as_of: datetime | None, size: int) -> FleetWork:
    numbers = Pack.objects.order_by("pk").values_list("pk", flat=True)
    cuts = [(part[0], part[-1]) for part in _parts(list(numbers), size)]
    with transaction.atomic():
        work = FleetWork.objects.create(
            kind=kind, asked_at=at, as_of=as_of, checks_seen=checks_so_far(), shards=len(cuts)
        )
        FleetShard.objects.bulk_create(
            FleetShard(work=work, number=number, first_pack=first, last_pack=last)
            for number, (first, last) in enumerate(cuts, start=1)
        )
    return work


def _parts(numbers: list[int], size: int) -> Iterator[list[int]]:
    for start in range(0, len(numbers), size):
        yield numbers[start : start + size]


def pack_ids(shard: FleetShard) -> list[int]:
    """The packs of a shard."""
    between = Pack.objects.filter(pk__gte=shard.first_pack, pk__lte=shard.last_pack)
    return list(between.order_by("pk").values_list("pk", flat=True))


def claim(
    *, at: datetime, work: FleetWork | None = None, pk: int | None = None
) -> FleetShard | None:
    """Claim a shard, of any work under way, of one, or that very one; None where none is free."""
    chosen = FleetShard.objects.filter(
        free(at), done_at__isnull=True, tries__lt=MOST_TRIES, work__finished_at__isnull=True
    ).select_related("work")
    if work is not None:
        chosen = chosen.filter(work=work)
    if pk is not None:
        chosen = chosen.filter(pk=pk)
    for shard in chosen.order_by("work_id", "number")[:CANDIDATES]:
        # The columns of the row itself alone: whoever waited for it looks at them again.
        still = FleetShard.objects.filter(free(at), pk=shard.pk, done_at__isnull=True)
        with _without_waiting():
            claimed = still.update(claimed_until=at + CLAIM, tries=F("tries") + 1)
        if claimed:
            shard.claimed_until, shard.tries = at + CLAIM, shard.tries + 1
            return shard
    return None


@contextmanager
def _without_waiting() -> Iterator[None]:
    """A transaction that does not wait for the disk. If the power fails at that moment a shard is
    free again, and is done once more, which is harmless; work that has ended waits as all do."""
    with transaction.atomic():
        if connection.vendor == "postgresql":
            with connection.cursor() as cursor:
                cursor.execute("SET LOCAL synchronous_commit = off")
        yield


def close(shard: FleetShard, *, at: datetime, packs: int, statistics: bytes | None = None) -> bool:
    """Note a shard as done, with what it gathered; False where another was quicker."""
    with _without_waiting():
        mine = FleetShard.objects.filter(pk=shard.pk, done_at__isnull=True).update(
            done_at=at, claimed_until=None, statistics=statistics
        )
        if mine:
            FleetWork.objects.filter(pk=shard.work_id).update(
                done=F("done") + 1, packs=F("packs") + packs
            )
    return bool(mine)


def let_go(shard: FleetShard) -> None:
    """Give a claim back, so that what was stopped goes on at once."""
    held = FleetShard.objects.filter(pk=shard.pk, claimed_until=shard.claimed_until)
    held.filter(done_at__isnull=True).update(claimed_until=None)


def uncalled(*, at: datetime) -> list[int]:
    """The open shards of work that no workers were called for, or a while ago; called for now."""
    waiting = Q(called_at__isnull=True) | Q(called_at__lt=at - CALL_AGAIN)
    found: list[int] = []
    for work in FleetWork.objects.filter(waiting, finished_at__isnull=True):
        if FleetWork.objects.filter(waiting, pk=work.pk).update(called_at=at):
            still = work.parts.filter(free(at), done_at__isnull=True).order_by("number")
            found += still.values_list("pk", flat=True)
    return found


def claim_last_step(*, at: datetime, work: FleetWork | None = None) -> FleetWork | None:
    """Claim work whose shards are all done, to be ended; None where there is none."""
    mine = {} if work is None else {"pk": work.pk}
    ready = FleetWork.objects.filter(free(at), finished_at__isnull=True, done=F("shards"), **mine)
    for one in ready.order_by("pk"):
        still = FleetWork.objects.filter(free(at), pk=one.pk, finished_at__isnull=True)
        if still.update(claimed_until=at + LAST_STEP, tries=F("tries") + 1):
            one.claimed_until, one.tries = at + LAST_STEP, one.tries + 1
            return one
    return None


def let_go_last_step(work: FleetWork) -> None:
    """Give that claim back."""
    FleetWork.objects.filter(pk=work.pk, claimed_until=work.claimed_until).update(
        claimed_until=None
    )


def stuck(*, at: datetime, work: FleetWork | None = None) -> QuerySet[FleetShard]:
    """Shards that were begun as often as may be, and nobody has now."""
    found = FleetShard.objects.filter(
        free(at), done_at__isnull=True, tries__gte=MOST_TRIES, work__finished_at__isnull=True
    ).select_related("work")
    return found if work is None else found.filter(work=work)


def note(work: FleetWork, error: str) -> None:
    """What went wrong last; told when the work is given up."""
    limit = FleetWork._meta.get_field("error").max_length
    FleetWork.objects.filter(pk=work.pk).update(error=error[:limit])


def end(work: FleetWork, *, at: datetime, error: str = "") -> None:
    """The work is over, well or with an error; its shards are no more needed."""
    limit = FleetWork._meta.get_field("error").max_length
    with transaction.atomic():
        FleetWork.objects.filter(pk=work.pk, finished_at__isnull=True).update(
            finished_at=at, error=error[:limit], claimed_until=None
        )
        FleetShard.objects.filter(work=work).delete()
