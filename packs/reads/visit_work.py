"""What was measured and done on a visit, for the paper that tells it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q, QuerySet

from packs.models import Edit, PackTypeVersion, Swap, SwapChange, Visit, VoltageCheck, Warranty
from packs.reads.types import Limits, limits_of

LEVELS = (VoltageCheck.Level.BLOCK, VoltageCheck.Level.MODULE, VoltageCheck.Level.CELL)
CONDITIONS = (VoltageCheck.Condition.LOAD, VoltageCheck.Condition.REST)


@dataclass(frozen=True)
class Pair:
    """Like with like: the first check before the work and the last after it."""

    condition: str
    level: str
    before: VoltageCheck | None
    after: VoltageCheck | None


@dataclass(frozen=True)
class Work:
    """What counts of a visit; `changed` the positions that hold a module from elsewhere now."""

    pairs: tuple[Pair, ...]
    swaps: tuple[Swap, ...]
    changed: frozenset[int]
    is_rebuild: bool
    recorded_at: datetime


def done_on(visit: Visit) -> Work:
    """The checks around the work of a visit, and the work."""
    swaps = tuple(
        Swap.objects.filter(visit=visit, voided_at__isnull=True)
        .prefetch_related("changes__fitted__lot", "changes__fitted__donor_pack", "changes__removed")
        .select_related("done_by")
        .order_by("done_at", "pk")
    )
    checks = list(_checks(visit))
    changed = frozenset(_changed(swaps))
    known = [visit.recorded_at, *(row.recorded_at for row in (*checks, *swaps))]
    return Work(
        pairs=tuple(_pairs(checks, swaps)),
        swaps=swaps,
        changed=changed,
        is_rebuild=_is_rebuild(visit, changed),
        recorded_at=max(known),
    )


def has_something(visit: Visit) -> bool:
    """Whether anything was measured or changed on the visit."""
    if Swap.objects.filter(visit=visit, voided_at__isnull=True).exists():
        return True
    return _checks(visit).exists()


def changes(swap: Swap) -> Sequence[SwapChange]:
    """The changes of a swap in the order of their places."""
    return sorted(swap.changes.all(), key=lambda change: (change.position or 0, change.pk))


def moved_from(change: SwapChange, swap: Swap) -> int | None:
    """The position of the same pack that the fitted module came from in the same swap."""
    if change.fitted_id is None:
        return None
    here = (one.position for one in swap.changes.all() if one.removed_id == change.fitted_id)
    return next(here, None)


def limits_then(check: VoltageCheck) -> Limits:
    """The limits of the type as they stood when the check was recorded."""
    assert check.pack is not None
    kind = check.pack.pack_type
    version = (
        PackTypeVersion.objects.filter(pack_type=kind, recorded_at__lte=check.recorded_at)
        .order_by("-number")
        .first()
    )
    return limits_of(version or kind)


def _checks(visit: Visit) -> QuerySet[VoltageCheck]:
    """Those that name the visit, and those of its pack that name none while it lasted."""
    begin, end = visit.opened_at, _end(visit)
    meant = Q(visit=visit)
    if visit.pack_id is not None:
        meanwhile = Q(pack=visit.pack_id, visit__isnull=True, taken_at__gte=begin)
        meant |= meanwhile if end is None else meanwhile & Q(taken_at__lte=end)
    rows = VoltageCheck.objects.filter(meant, voided_at__isnull=True)
    rows = rows.select_related("pack__pack_type", "equipment")
    return rows.order_by("taken_at", "pk")


def _end(visit: Visit) -> datetime | None:
    """When the visit was closed, or the next one of the pack began; None while it lasts.

    A visit that was opened again lasts.
    """
    edits = Edit.objects.filter(kind=Visit.KIND, key=str(visit.pk)).order_by("-version")
    closed = visit.state == Visit.State.CLOSED
    closings = [edit.recorded_at for edit in edits if closed and _closes(edit)]
    later = Visit.objects.filter(pack=visit.pack_id, opened_at__gt=visit.opened_at)
    following = later.order_by("opened_at").values_list("opened_at", flat=True).first()
    return min([*closings[:1], *([following] if following else [])], default=None)


def _closes(edit: Edit) -> bool:
    state = edit.changes.get("state")
    return state is not None and state[1] == Visit.State.CLOSED


def _pairs(checks: Sequence[VoltageCheck], swaps: Sequence[Swap]) -> Iterator[Pair]:
    for level in LEVELS:
        for condition in CONDITIONS:
            alike = [row for row in checks if (row.level, row.condition) == (level, condition)]
            before, after = _around(alike, swaps)
            if before is not None or after is not None:
                yield Pair(str(condition), str(level), before, after)


def _around(
    checks: Sequence[VoltageCheck], swaps: Sequence[Swap]
) -> tuple[VoltageCheck | None, VoltageCheck | None]:
    """The first before all work and the last after it; where none was done, first and last."""
    if not swaps:
        first = checks[0] if checks else None
        return first, checks[-1] if len(checks) > 1 else None
    early = [row for row in checks if row.taken_at <= swaps[0].done_at]
    late = [row for row in checks if row.taken_at >= swaps[-1].done_at and row not in early]
    return (early[0] if early else None), (late[-1] if late else None)


def _changed(swaps: Sequence[Swap]) -> Iterator[int]:
    for swap in swaps:
        for change in swap.changes.all():
            if change.position is not None and moved_from(change, swap) is None:
                yield change.position


def _is_rebuild(visit: Visit, changed: frozenset[int]) -> bool:
    """Whether every position was changed, or the shop stands behind it as a rebuild."""
    if visit.pack is not None and len(changed) >= visit.pack.pack_type.module_count:
        return True
    return Warranty.objects.filter(
        visit=visit, repair_kind=Warranty.RepairKind.REBUILD, voided_at__isnull=True
    ).exists()
