"""Lithium-ion: the cells of a check apart, and when a pack or module must not be charged."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from packs.rules.layouts import CUT_OFF_CELL_V

LOWEST_CELL_V = 2.5
"""Cell voltage below which a lithium-ion cell is not charged again, V: copper may have dissolved,
and plates out on charge. Common practice, no source; a type's own protocol stands above it."""

WITHOUT_MONITOR = (
    "Charge it only with its own monitor connected and watching every cell; a charger sees the "
    "sum, and one cell goes over."
)
QUARANTINE = (
    "Keep it outside or in a fire-safe place, apart from people, other packs and anything that "
    "burns, with its state and the day on it, until somebody qualified has decided."
)


@dataclass(frozen=True)
class CellRange:
    """The lowest and the highest voltage of a cell, V, and at which positions.

    Of a position with several cells in series it is their mean: `exact` says that each was read.
    """

    lowest_v: float
    lowest_at: int
    highest_v: float
    highest_at: int
    exact: bool


def cell_range(voltages_v: NDArray[np.float64], cells: NDArray[np.int64]) -> CellRange | None:
    """The range of a check, `voltages_v` (p,) V, NaN unreadable, `cells` in series (p,).

    None where nothing was read. Division by the cells in series, no source.
    """
    per_cell = voltages_v / cells
    if np.isnan(per_cell).all():
        return None
    low, high = int(np.nanargmin(per_cell)), int(np.nanargmax(per_cell))
    return CellRange(
        lowest_v=float(per_cell[low]),
        lowest_at=low + 1,
        highest_v=float(per_cell[high]),
        highest_at=high + 1,
        exact=bool((cells == 1).all()),
    )


def lowest_allowed_v(cut_off_cell_v: float) -> float:
    """The voltage of a cell below which it is not charged: the type's cut-off where it states one
    of its own, else LOWEST_CELL_V."""
    return LOWEST_CELL_V if cut_off_cell_v == CUT_OFF_CELL_V else cut_off_cell_v


def charge_refusal(lowest_v: float, allowed_v: float, where: str) -> str | None:
    """Why it must not be charged, in a sentence; None where its cells allow it."""
    if lowest_v >= allowed_v:
        return None
    return (
        f"{where} reads {lowest_v:.2f} V a cell, below {allowed_v:g} V: a lithium-ion cell that "
        "low is not charged again. Quarantine it, and have somebody qualified decide."
    )
