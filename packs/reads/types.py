"""What a pack type says of a pack: its positions, and its ratings at a time."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from packs.models import PackType, PackTypeVersion
from packs.rules.arithmetic import cells_at


@lru_cache(maxsize=1024)
def _cells(
    level: str, blocks: tuple[int, ...], module_count: int, cells_per_module: int
) -> NDArray[np.int64]:
    cells = cells_at(
        level,
        block_sizes=blocks,
        cells_per_module=cells_per_module,
        module_count=module_count,
    )
    cells.flags.writeable = False
    return cells


def cells(pack_type: PackType, level: str) -> NDArray[np.int64]:
    """Cells in series at each position of that level, shape (positions,)."""
    return _cells(
        level, tuple(pack_type.blocks), pack_type.module_count, pack_type.cells_per_module
    )


@dataclass(frozen=True)
class Limits:
    """The ratings that an estimate is made against; volts, amperes, degrees Celsius."""

    load_spread_limit_v: float
    rest_spread_limit_v: float
    reference_load_a: float
    reference_temperature_c: float


def limits_of(ratings: PackType | PackTypeVersion) -> Limits:
    return Limits(
        load_spread_limit_v=ratings.load_spread_limit_v,
        rest_spread_limit_v=ratings.rest_spread_limit_v,
        reference_load_a=ratings.reference_load_a,
        reference_temperature_c=ratings.reference_temperature_c,
    )
