"""Pack arithmetic: voltages, blocks and the pieces of a string of modules.

Cells in parallel add no voltage, so every count here is of cells in series.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Level = Literal["block", "module", "cell"]

NOMINAL_TOLERANCE = 0.005
"""How far a said nominal voltage may be from the worked-out one, as a share of it.
Room for rounding to a whole volt on a label; common practice, no source."""

_ROUNDING = 1e-9
"""Relative slack, so that a figure exactly on a limit is not refused by binary rounding."""


@dataclass(frozen=True)
class Piece:
    """Modules still joined: first and last number (from 1), and the highest voltage, V,
    that stands between any two points of the piece."""

    first: int
    last: int
    highest_v: float


def nominal_v(module_count: int, cells_per_module: int, cell_nominal_v: float) -> float:
    """Nominal voltage of the whole string, V."""
    return module_count * cells_per_module * cell_nominal_v


def highest_v(module_count: int, cells_per_module: int, max_cell_v: float) -> float:
    """Voltage of the whole string with every cell at `max_cell_v`, V: what safety rests on."""
    return module_count * cells_per_module * max_cell_v


def disagrees(said_v: float, nominal: float) -> bool:
    """Whether a said nominal voltage is further off than NOMINAL_TOLERANCE (both in V)."""
    return abs(said_v - nominal) > NOMINAL_TOLERANCE * abs(nominal) * (1 + _ROUNDING)


def block_sizes(
    module_count: int, modules_per_block: int = 1, blocks: Sequence[int] | None = None
) -> tuple[int, ...]:
    """Modules in each block, from the positive end.

    `blocks`, where given, lists them one by one and `modules_per_block` is not looked at.
    Raises ValueError with a sentence when they do not add up to the modules of the pack.
    """
    if blocks is not None:
        return _listed_blocks(module_count, blocks)
    if modules_per_block < 1 or module_count % modules_per_block:
        raise ValueError(
            f"{module_count} modules do not divide into blocks of {modules_per_block}; "
            "give modules_per_block that divides them, or list the blocks one by one."
        )
    return (modules_per_block,) * (module_count // modules_per_block)


def _listed_blocks(module_count: int, blocks: Sequence[int]) -> tuple[int, ...]:
    if not blocks or min(blocks) < 1:
        raise ValueError("Each block needs at least one module.")
    if sum(blocks) != module_count:
        raise ValueError(
            f"The blocks hold {sum(blocks)} modules together, but the pack has {module_count}."
        )
    return tuple(blocks)


def position_count(
    level: str, *, block_sizes: Sequence[int], module_count: int, cells_per_module: int
) -> int:
    """How many voltages one check has at `level`. Raises ValueError for an unknown level."""
    if level == "block":
        return len(block_sizes)
    if level == "module":
        return module_count
    if level == "cell":
        return module_count * cells_per_module
    raise ValueError(f"The level is block, module or cell, not {level!r}.")


def cells_at(
    level: str, *, block_sizes: Sequence[int], cells_per_module: int, module_count: int
) -> NDArray[np.int64]:
    """Cells in series at each position, shape (position_count,). ValueError as there."""
    if level == "block":
        return np.asarray(block_sizes, dtype=np.int64) * cells_per_module
    count = position_count(
        level,
        block_sizes=block_sizes,
        module_count=module_count,
        cells_per_module=cells_per_module,
    )
    return np.full(count, cells_per_module if level == "module" else 1, dtype=np.int64)


def halves(module_count: int, switch_after: int) -> tuple[int, int]:
    """Modules before and behind the service switch, which sits after module `switch_after`.

    Raises ValueError when the switch would not part the string.
    """
    if not 1 <= switch_after < module_count:
        raise ValueError(
            f"The service switch parts {module_count} modules after number 1 to "
            f"{module_count - 1}, not after {switch_after}."
        )
    return switch_after, module_count - switch_after


def pieces(module_voltages: Sequence[float], cuts: Iterable[int]) -> tuple[Piece, ...]:
    """The pieces left of the string when it is open after each module numbered in `cuts`.

    `module_voltages`: V of each module from the positive end, the highest it can have where it
    was not measured. Within a piece the voltage counts between any two points, because a module
    that stands the wrong way round makes the ends show less than the middle.
    Raises ValueError for a cut outside the string or a voltage that is no number.
    """
    volts = np.asarray(module_voltages, dtype=np.float64)
    if volts.size == 0 or not np.isfinite(volts).all():
        raise ValueError("Every module needs a voltage: its highest where it was not measured.")
    opened = sorted(set(cuts))
    for cut in opened:
        halves(volts.size, cut)
    bounds = pairwise([0, *opened, volts.size])
    return tuple(Piece(start + 1, stop, _highest(volts[start:stop])) for start, stop in bounds)


def _highest(volts: NDArray[np.float64]) -> float:
    points = np.concatenate(([0.0], np.cumsum(volts)))
    return float(points.max() - points.min())


def largest_joined_piece(module_voltages: Sequence[float], cuts: Iterable[int]) -> Piece:
    """The piece with the highest voltage, the first of equals. Arguments, errors: `pieces`."""
    return max(pieces(module_voltages, cuts), key=lambda piece: piece.highest_v)
