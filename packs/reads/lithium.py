"""What the last check says of the cells of a lithium-ion pack, and whether it may be charged."""

from dataclasses import dataclass

import numpy as np

from packs.models import Module, Pack, Placement, VoltageCheck
from packs.models.types import Chemistry
from packs.reads import types
from packs.rules import lithium
from packs.rules.lithium import CellRange
from packs.rules.voltages import to_volts

CONDITIONS = (VoltageCheck.Condition.REST, VoltageCheck.Condition.CHARGE)


@dataclass(frozen=True)
class Cells:
    """The last check of the cells, and why the pack must not be charged; empty where it may."""

    check: VoltageCheck
    range: CellRange
    allowed_v: float
    refusal: str


def cells(pack: Pack) -> Cells | None:
    """Of a lithium-ion pack by its newest check at rest or on charge.

    None for another chemistry, or where nothing was read.
    """
    kind = pack.pack_type
    if kind.chemistry != Chemistry.LI_ION:
        return None
    rows = VoltageCheck.objects.filter(pack=pack, voided_at__isnull=True, condition__in=CONDITIONS)
    newest = rows.order_by("-taken_at", "-pk").first()
    if newest is None:
        return None
    found = lithium.cell_range(to_volts(newest.voltages), types.cells(kind, newest.level))
    if found is None:
        return None
    allowed = lithium.lowest_allowed_v(kind.layout.protocol.cut_off_cell_v)
    where = f"Pack {pack.serial}, {newest.level} {found.lowest_at},"
    refusal = lithium.charge_refusal(found.lowest_v, allowed, where)
    return Cells(newest, found, allowed, refusal or "")


def charge_refusal(module: Module) -> str | None:
    """Why a module must not be charged: what its own cells read last where it sat last.

    None where they may be, for another chemistry, or where nothing was read.
    """
    seat = _last_seat(module)
    if seat is None or seat.pack.pack_type.chemistry != Chemistry.LI_ION:
        return None
    rows = VoltageCheck.objects.filter(
        pack=seat.pack, voided_at__isnull=True, condition__in=CONDITIONS
    )
    if seat.fitted_at is not None:
        rows = rows.filter(taken_at__gte=seat.fitted_at)
    if seat.removed_at is not None:
        rows = rows.filter(taken_at__lt=seat.removed_at)
    newest = rows.order_by("-taken_at", "-pk").first()
    lowest_v = None if newest is None else _lowest_v(newest, seat)
    if lowest_v is None:
        return None
    allowed = lithium.lowest_allowed_v(seat.pack.pack_type.layout.protocol.cut_off_cell_v)
    return lithium.charge_refusal(lowest_v, allowed, f"Module {module.tag}")


def _last_seat(module: Module) -> Placement | None:
    """Where it sits, else where it sat last."""
    rows = Placement.objects.filter(module=module).select_related("pack__pack_type")
    here = rows.filter(removed_at__isnull=True).first()
    return here or rows.order_by("-removed_at", "-pk").first()


def _lowest_v(check: VoltageCheck, seat: Placement) -> float | None:
    """The lowest cell voltage that a check says of one position, V; None where it was not read."""
    kind = seat.pack.pack_type
    per_cell = to_volts(check.voltages) / types.cells(kind, check.level)
    first = seat.position - 1
    if check.level == VoltageCheck.Level.CELL:
        count = kind.cells_per_module
        per_cell = per_cell[first * count : (first + 1) * count]
    elif check.level == VoltageCheck.Level.BLOCK:
        block = int(np.searchsorted(np.cumsum(kind.blocks), first, side="right"))
        per_cell = per_cell[block : block + 1]
    else:
        per_cell = per_cell[first : first + 1]
    return None if np.isnan(per_cell).all() else float(np.nanmin(per_cell))


def quarantined(pack: Pack) -> list[Module]:
    """The modules that came out of a pack, or were donated by it, and are quarantined."""
    sat = Placement.objects.filter(pack=pack, module__isnull=False).values("module")
    rows = Module.objects.filter(status=Module.Status.QUARANTINED)
    return list((rows.filter(pk__in=sat) | rows.filter(donor_pack=pack)).order_by("tag").distinct())
