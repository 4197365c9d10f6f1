"""Which lock-out stands on a visit, and what of the pack side is live as it stands."""

from collections.abc import Iterable
from datetime import datetime

import numpy as np
from django.db.models import Exists, Max, OuterRef, Q, QuerySet

from packs.models import (
    LockOut,
    ModuleTest,
    PackType,
    Reassembly,
    ReEnergising,
    SwapChange,
    Teardown,
    Visit,
    VoltageCheck,
)
from packs.rules import arithmetic, live
from packs.rules.live import LiveSide, Move
from packs.rules.voltages import to_volts


def standing(visit: Visit) -> LockOut | None:
    """The latest lock-out of the visit that counts, and that no re-energising has ended."""
    named = ("done_by", "meter", "gloves", "switch_kept_by", "second_person")
    rows = not_ended().filter(visit=visit).select_related(*named)
    return rows.order_by("-happened_at", "-pk").first()


def not_ended() -> QuerySet[LockOut]:
    """Lock-outs that stand, on whatever visit."""
    ends = ReEnergising.objects.filter(lock_out=OuterRef("pk"), voided_at__isnull=True)
    return LockOut.objects.filter(~Exists(ends), voided_at__isnull=True)


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
    """The highest each module can have, V: as measured on this visit, else every cell at its
    highest.

    What was measured before a module was changed, or charged on the bench, no longer tells.
    """
    kind = _kind(visit)
    unknown = kind.cells_per_module * _cell_v(kind)
    changed, charged_at = _changes(visit), _charged_at(visit)
    found: list[float] = [-np.inf] * kind.module_count
    for check in _module_checks(visit):
        if charged_at is not None and check.taken_at <= charged_at:
            continue
        for place, volts in enumerate(to_volts(check.voltages).tolist()):
            since = changed.get(place + 1)
            if since is None or check.taken_at > since:
                found[place] = max(found[place], -np.inf if np.isnan(volts) else volts)
    return [volts if np.isfinite(volts) else unknown for volts in found]


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


def _module_checks(visit: Visit) -> Iterable[VoltageCheck]:
    """Checks module by module that were taken on the visit, or since it came and on no other."""
    rows = VoltageCheck.objects.filter(
        pack=visit.pack_id, level=VoltageCheck.Level.MODULE, voided_at__isnull=True
    )
    since = Q(visit__isnull=True, taken_at__gte=visit.opened_at)
    return rows.filter(Q(visit=visit) | since).only("taken_at", "voltages")


def _changes(visit: Visit) -> dict[int, datetime]:
    """By position, when its module was last changed since the visit was opened."""
    rows = SwapChange.objects.filter(
        swap__pack=visit.pack_id,
        swap__voided_at__isnull=True,
        swap__done_at__gte=visit.opened_at,
        position__isnull=False,
    )
    told = rows.values_list("position").annotate(last=Max("swap__done_at"))
    return {position: last for position, last in told if position is not None}


def _charged_at(visit: Visit) -> datetime | None:
    """When modules were last charged on the bench on this visit."""
    equalised = Reassembly.objects.filter(
        visit=visit, voided_at__isnull=True, kind=Reassembly.Kinds.EQUALISED
    ).aggregate(last=Max("happened_at"))["last"]
    tested = ModuleTest.objects.filter(visit=visit, voided_at__isnull=True).aggregate(
        last=Max("ended_at")
    )["last"]
    return max((moment for moment in (equalised, tested) if moment is not None), default=None)


def _cell_v(kind: PackType) -> float:
    return live.highest_cell_v(kind.chemistry, kind.max_cell_v)


def _kind(visit: Visit) -> PackType:
    assert visit.pack is not None
    return visit.pack.pack_type
