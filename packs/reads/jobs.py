"""How a job on a visit stands, from what was recorded on it."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, TypeVar

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
from packs.reads import isolation, lock_outs, openings, proofs
from packs.rules import jobs
from packs.rules.jobs import Progress, Stage
from packs.rules.proofs import load_wanted

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
        next=None if progress.released else jobs.next_of(stages),
        live=_live(visit, locked_out=progress.locked_out),
        wants=tuple(jobs.release_wants(progress)),
    )


def _live(visit: Visit, *, locked_out: bool) -> str:
    """What of the pack is live, said on every page: there is no state in which nothing is."""
    side = lock_outs.pieces(visit)
    if locked_out:
        return side.said
    return f"The pack is joined and live: up to {side.whole_v:.1f} V between its ends."


@dataclass(frozen=True)
class _Times:
    """When the pack was first locked out, last re-energised, last worked on and last changed;
    what was changed without a lock-out, in words."""

    locked_at: datetime | None
    ended_at: datetime | None
    worked_at: datetime | None
    changed_at: datetime | None
    standing: bool
    unlocked: tuple[str, ...]


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
        released=_standing(Release, visit).exists(),
        unlocked=times.unlocked,
        elsewhere=lock_outs.elsewhere_said(visit),
        **_proved(visit, after),
    )


def _proved(visit: Visit, after: Sequence[VoltageCheck]) -> dict[str, Any]:
    """What the checks after the work show, by the names of a progress."""
    assert visit.pack is not None
    rests = [one for one in after if one.condition == VoltageCheck.Condition.REST]
    loads = [one for one in after if one.condition == VoltageCheck.Condition.LOAD]
    tell = proofs.telling(loads, visit)
    reference_a = visit.pack.pack_type.reference_load_a
    rest, load = rests[-1] if rests else None, tell[-1] if tell else None
    return {
        "rest_after": bool(rests),
        "load_after": bool(tell),
        "load_said": load_wanted([one.current_a for one in loads], reference_a)
        if loads and not tell
        else "",
        "over_limit": tuple(proofs.over_limit(visit, rest, load)),
    }


def checks_of(visit: Visit) -> list[VoltageCheck]:
    """The checks of the pack that were taken on the visit, or since it came and on no other.

    A tester seldom knows of visits. In order of time.
    """
    rows = VoltageCheck.objects.filter(pack=visit.pack_id, voided_at__isnull=True)
    since = Q(visit__isnull=True, taken_at__gte=visit.opened_at)
    return list(rows.filter(Q(visit=visit) | since).order_by("taken_at", "pk"))


def last_check(visit: Visit, condition: str) -> VoltageCheck | None:
    """The last check of that condition on the visit; under load, of those that tell."""
    rows = [one for one in checks_of(visit) if one.condition == condition]
    if condition == VoltageCheck.Condition.LOAD:
        rows = proofs.telling(rows, visit)
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
    made = proofs.changes(visit)
    changed_at = made[-1].done_at if made else None
    ended = {end.lock_out_id for end in ends}
    steps = [row.happened_at for row in (*locked[-1:], *ends[-1:])]
    worked = [*steps, *(moment for moment in (swapped, changed_at) if moment)]
    return _Times(
        locked_at=locked[0].happened_at if locked else None,
        ended_at=ends[-1].happened_at if ends else None,
        worked_at=max(worked, default=None),
        changed_at=changed_at,
        standing=any(one.pk not in ended for one in locked),
        unlocked=proofs.unlocked(made, locked, ends),
    )


def _isolation(visit: Visit, times: _Times) -> bool | None:
    """Whether the last isolation check since the pack was closed is above the limit."""
    rows = _standing(IsolationCheck, visit)
    closed = [moment for moment in (times.ended_at, times.changed_at) if moment is not None]
    if closed:
        rows = rows.filter(happened_at__gte=max(closed))
    last = rows.select_related("pack__pack_type").order_by("-happened_at", "-pk").first()
    return None if last is None else isolation.judged(last).passes
