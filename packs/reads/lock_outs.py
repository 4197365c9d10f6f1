"""Which lock-out stands on a visit, and what of the pack side is live as it stands."""

from collections.abc import Iterable
from datetime import datetime

from django.db.models import Exists, Max, OuterRef, QuerySet

from packs.models import (
    LockOut,
    PackType,
    Reassembly,
    ReEnergising,
    Teardown,
    Visit,
)
from packs.rules import arithmetic, live
from packs.rules.identity import encode
from packs.rules.live import LiveSide, Move


def standing(visit: Visit) -> LockOut | None:
    """The latest lock-out of the visit that counts, and that no re-energising has ended."""
    named = ("done_by", "meter", "gloves", "switch_kept_by", "second_person")
    rows = not_ended().filter(visit=visit).select_related(*named)
    return rows.order_by("-happened_at", "-pk").first()


def not_ended() -> QuerySet[LockOut]:
    """Lock-outs that stand, on whatever visit."""
    ends = ReEnergising.objects.filter(lock_out=OuterRef("pk"), voided_at__isnull=True)
    return LockOut.objects.filter(~Exists(ends), voided_at__isnull=True)


def elsewhere(visit: Visit) -> LockOut | None:
    """The latest lock-out that stands on the pack of the visit, and on another visit."""
    rows = not_ended().filter(pack=visit.pack_id, pack__isnull=False).exclude(visit=visit)
    return rows.order_by("-happened_at", "-pk").first()


def elsewhere_said(visit: Visit, but: LockOut | None = None) -> str:
    """Where the pack is locked out on another visit, and what to do; empty where it is not.

    `but` is left out of account: the one that a correction takes the place of.
    """
    other = elsewhere(visit)
    if other is None or other == but:
        return ""
    return (
        f"A lock-out stands on this pack since {other.happened_at.isoformat()}, on visit "
        f"{encode(Visit.PREFIX, other.visit_id)}: record its re-energising there first, or void "
        "it with a reason."
    )


def ended_at(visit: Visit) -> datetime | None:
    """When the pack was last re-energised on the visit."""
    rows = ReEnergising.objects.filter(visit=visit, voided_at__isnull=True)
    ended: datetime | None = rows.aggregate(last=Max("happened_at"))["last"]
    return ended


def pieces(visit: Visit) -> LiveSide:
    """What of the pack side is live now; the visit has a pack.

    Without a lock-out that stands the switch counts as in, and the string as whole.
    """
    lock_out = standing(visit)
    if lock_out is None:
        return live.live_side(module_voltages(visit), ())
    return live.live_side(module_voltages(visit), _joints(visit, lock_out))


def pieces_with_switch_out(visit: Visit) -> LiveSide:
    """What will be live when the switch is out and nothing else is."""
    kind = _kind(visit)
    switch = (Move(live.SWITCH, out=True),)
    return live.live_side(module_voltages(visit), _opened(kind, switch))


def highest_v(pack_type: PackType) -> float:
    """The highest voltage that a pack of the type can have, V: every cell at its highest."""
    return arithmetic.highest_v(
        pack_type.module_count, pack_type.cells_per_module, _cell_v(pack_type)
    )


def module_voltages(visit: Visit) -> list[float]:
    """The highest voltage that each module can have, V: every cell at its highest.

    What was measured does not lower it: a module read under load, or at rest a day ago, can stand
    higher when it is touched.
    """
    kind = _kind(visit)
    return [kind.cells_per_module * _cell_v(kind)] * kind.module_count


def worked_at(lock_out: LockOut) -> tuple[datetime, datetime] | None:
    """When work under a lock-out began and was last recorded; None where there was none."""
    times: list[datetime] = []
    for model in (Teardown, Reassembly):
        rows = model._default_manager.filter(lock_out=lock_out, voided_at__isnull=True)
        times += rows.values_list("happened_at", flat=True)
    return (min(times), max(times)) if times else None


def _joints(visit: Visit, lock_out: LockOut) -> frozenset[int]:
    moves = [Move(live.SWITCH, out=True), *_moves(visit, lock_out.happened_at)]
    return _opened(_kind(visit), moves)


def _opened(kind: PackType, moves: Iterable[Move]) -> frozenset[int]:
    switch_after = kind.layout.switch_after
    return live.open_joints(moves, switch_after=switch_after, module_count=kind.module_count)


def _moves(visit: Visit, since: datetime) -> list[Move]:
    """What was taken out and put back of the string since the lock-out, in order of time."""
    asked = {
        "visit": visit,
        "voided_at__isnull": True,
        "happened_at__gte": since,
        "part__in": (live.SWITCH, live.BUS_BAR),
    }
    columns = ("happened_at", "pk", "part", "places")
    taken = Teardown.objects.filter(**asked).values_list(*columns)
    fitted = Reassembly.objects.filter(**asked, kind=Reassembly.Kinds.FITTED).values_list(*columns)
    told = [(*row, True) for row in taken] + [(*row, False) for row in fitted]
    told.sort(key=lambda row: (row[0], not row[4], row[1]))
    return [Move(part, out=out, after=tuple(places)) for _, _, part, places, out in told]


def _cell_v(kind: PackType) -> float:
    return live.highest_cell_v(kind.chemistry, kind.max_cell_v)


def _kind(visit: Visit) -> PackType:
    assert visit.pack is not None
    return visit.pack.pack_type
