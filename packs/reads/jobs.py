"""How a job on a visit stands, from what was recorded on it."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import TypeVar

from django.db.models import Max, Q, QuerySet

from packs.models import (
    Fact,
    Inspection,
    IsolationCheck,
    LockOut,
    Module,
    ReEnergising,
    Release,
    Swap,
    TroubleCode,
    Visit,
    VoltageCheck,
)
from packs.reads import isolation, lock_outs, openings
from packs.rules import jobs
from packs.rules.jobs import Progress, Stage

FactT = TypeVar("FactT", bound=Fact)


@dataclass(frozen=True)
class Job:
    """The steps of a job, the next of them, what is live, and what a release still wants."""

    visit: Visit
    progress: Progress
    stages: tuple[Stage, ...]
    next: Stage | None
    live: str
    wants: tuple[tuple[str, str], ...]


def of(visit: Visit) -> Job:
    """The job on a visit that has a pack."""
    progress = progress_of(visit)
    stages = jobs.stages(progress)
    return Job(
        visit=visit,
        progress=progress,
        stages=stages,
        next=jobs.next_of(stages),
        live=lock_outs.pieces(visit).said if progress.locked_out else "",
        wants=tuple(jobs.release_wants(progress)),
    )


@dataclass(frozen=True)
class _Times:
    """When the pack was first locked out, last re-energised and last worked on."""

    locked_at: datetime | None
    ended_at: datetime | None
    worked_at: datetime | None
    standing: bool


def progress_of(visit: Visit) -> Progress:
    """What counts on the visit."""
    times = _times(visit)
    opening = openings.state(visit)
    codes = [row[0] for row in _standing(TroubleCode, visit).values_list("cleared_at")]
    checks = checks_of(visit)
    found = [one for one in checks if times.locked_at is None or one.taken_at < times.locked_at]
    after = [one for one in checks if times.worked_at is None or one.taken_at >= times.worked_at]
    return Progress(
        as_found_rest=_any(found, VoltageCheck.Condition.REST),
        as_found_load=_any(found, VoltageCheck.Condition.LOAD),
        codes=len(codes),
        open_codes=sum(cleared_at is None for cleared_at in codes),
        inspected=_standing(Inspection, visit).exists(),
        locked_out=times.standing,
        ever_locked_out=times.locked_at is not None,
        swapped=_standing(Swap, visit).count(),
        reserved=Module.objects.filter(reserved_for=visit, status=Module.Status.RESERVED).count(),
        opened=opening.begun,
        out=opening.out_said,
        unready=opening.unready if opening.begun else (),
        re_energised=times.ended_at is not None and not times.standing,
        isolation=_isolation(visit, times),
        rest_after=_any(after, VoltageCheck.Condition.REST),
        load_after=_any(after, VoltageCheck.Condition.LOAD),
        released=_standing(Release, visit).exists(),
    )


def checks_of(visit: Visit) -> list[VoltageCheck]:
    """The checks of the pack that were taken on the visit, or since it came and on no other.

    A tester seldom knows of visits. In order of time.
    """
    rows = VoltageCheck.objects.filter(pack=visit.pack_id, voided_at__isnull=True)
    since = Q(visit__isnull=True, taken_at__gte=visit.opened_at)
    return list(rows.filter(Q(visit=visit) | since).order_by("taken_at", "pk"))


def last_check(visit: Visit, condition: str) -> VoltageCheck | None:
    """The last check of that condition on the visit."""
    rows = [one for one in checks_of(visit) if one.condition == condition]
    return rows[-1] if rows else None


def last(model: type[FactT], visit: Visit) -> FactT | None:
    """The last step of that kind that counts on the visit."""
    return _standing(model, visit).order_by("happened_at", "pk").last()


def _standing(model: type[FactT], visit: Visit) -> QuerySet[FactT]:
    return model._default_manager.filter(visit=visit, voided_at__isnull=True)


def _any(checks: Iterable[VoltageCheck], condition: str) -> bool:
    return any(one.condition == condition for one in checks)


def _times(visit: Visit) -> _Times:
    locked = list(_standing(LockOut, visit).order_by("happened_at", "pk"))
    ends = list(_standing(ReEnergising, visit).order_by("happened_at", "pk"))
    swapped = _standing(Swap, visit).aggregate(last=Max("done_at"))["last"]
    ended = {end.lock_out_id for end in ends}
    steps = [row.happened_at for row in (*locked[-1:], *ends[-1:])]
    worked = [*steps, *([swapped] if swapped else [])]
    return _Times(
        locked_at=locked[0].happened_at if locked else None,
        ended_at=ends[-1].happened_at if ends else None,
        worked_at=max(worked, default=None),
        standing=any(one.pk not in ended for one in locked),
    )


def _isolation(visit: Visit, times: _Times) -> bool | None:
    """Whether the last isolation check since the pack was closed is above the limit."""
    rows = _standing(IsolationCheck, visit)
    if times.ended_at is not None:
        rows = rows.filter(happened_at__gte=times.ended_at)
    last = rows.select_related("pack__pack_type").order_by("-happened_at", "-pk").first()
    return None if last is None else isolation.judged(last).passes
