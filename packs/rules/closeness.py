"""How well modules keep together in one pack: the sum that a matching makes least.

A figure counts in units: one unit is what a shop lets a figure be off without a second thought,
a share of the type's pass mark (`units_of`). Then, over all positions of the pack,

    sum = Σ |module − middle of the pack|² + BLOCK_WEIGHT · Σ |module − middle of its block|²
          + Σ (years since its tests)² · AGE_WEIGHT + UNMEASURED · figures that are missing

with the squares taken over capacity, resistance and self-discharge in their units. The middle of
the pack is that of all its modules, those that stay included; a figure that nobody measured takes
no part in a middle. Where on the pack each block lies changes nothing of the sum.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]

FIGURES = ("capacity_ah", "resistance_mohm", "stand_mv_per_day")
UNIT_SHARES: Mapping[str, float] = {
    "capacity_ah": 0.05,
    "resistance_mohm": 0.10,
    "stand_mv_per_day": 0.25,
}
"""One unit as a share of the pass mark. Common practice, no source."""

BLOCK_WEIGHT = 1.0  # a block's own middle counts as much as the pack's; common practice, no source
AGE_WEIGHT = 1.0  # units² a year²: a figure may drift by a unit in a year's rest; no source
UNMEASURED = 1.0  # units² for a figure nobody measured: as if one unit off; no source
YEAR_DAYS = 365.25


def units_of(pass_marks: Mapping[str, float | None], figures: Floats) -> Floats:
    """One unit of each of FIGURES, (3,): of the pass mark, else of the middle of `figures` (n, 3).

    Where neither says anything a unit is one ampere-hour, milliohm or millivolt a day.
    """
    found = []
    for column, name in enumerate(FIGURES):
        known = figures[np.isfinite(figures[:, column]), column]
        middle = float(np.median(np.abs(known))) if known.size else 0.0
        found.append(UNIT_SHARES[name] * (pass_marks.get(name) or middle) or 1.0)
    return np.array(found)


@dataclass(frozen=True, eq=False)
class Stock:
    """Candidates in units: points (n, 3), NaN where not measured; extra (n,) what each costs."""

    points: Floats
    extra: Floats

    @property
    def known(self) -> NDArray[np.bool_]:
        return np.isfinite(self.points)

    @property
    def filled(self) -> Floats:
        """The points with nought where nobody measured. (n, 3)"""
        return np.nan_to_num(self.points)


def stock_of(figures: Floats, age_days: Floats, units: Floats) -> Stock:
    """Candidates as they are compared. figures (n, 3), age_days (n,) of the oldest figure."""
    points = figures / units
    missing = (~np.isfinite(points)).sum(axis=1)
    years = np.nan_to_num(np.maximum(age_days, 0.0)) / YEAR_DAYS
    return Stock(points, AGE_WEIGHT * years**2 + UNMEASURED * missing)


@dataclass(frozen=True, eq=False)
class Seats:
    """Where modules are wanted. block (k,): the block of each seat; stay_block (s,) and stay
    (s, 3) the blocks and points of the modules that stay; sizes (b,) modules in each block."""

    block: Indices
    stay_block: Indices
    stay: Floats
    sizes: Indices

    @property
    def count(self) -> int:
        return int(self.block.size)


def seats_of(blocks: Sequence[int], wanted: Sequence[int], stay: Floats) -> Seats:
    """Seats at the positions `wanted` (from 1); stay (p, 3) in units, of all positions."""
    sizes = np.array(blocks, dtype=np.intp)
    block = np.repeat(np.arange(sizes.size), sizes)
    free = np.zeros(block.size, dtype=bool)
    free[np.array(wanted, dtype=np.intp) - 1] = True
    return Seats(block[free], block[~free], stay[~free], sizes)


@dataclass(frozen=True, eq=False)
class _Sums:
    """How many figures are known, their sum and sum of squares, whole (3,) and by block (b, 3)."""

    count: Floats
    total: Floats
    square: Floats


def _scatter(count: Floats, total: Floats, square: Floats) -> Floats:
    """Σ (z − mean)² from the sums; nought where nothing is known. Any shape."""
    scatter: Floats = square - total**2 / np.maximum(count, 1.0)
    return np.maximum(scatter, 0.0)


def _by_block(stock: Stock, seats: Seats, chosen: Indices) -> _Sums:
    points = np.concatenate([stock.points[chosen], seats.stay])
    block = np.concatenate([seats.block, seats.stay_block])
    known, filled = np.isfinite(points).astype(np.float64), np.nan_to_num(points)
    sums = np.zeros((3, seats.sizes.size, len(FIGURES)))
    for place, values in enumerate((known, filled, filled**2)):
        np.add.at(sums[place], block, values)
    return _Sums(*sums)


def total(stock: Stock, seats: Seats, chosen: Indices) -> float:
    """The sum of a choice (k,): the candidate at each seat."""
    by = _by_block(stock, seats, chosen)
    whole = _scatter(by.count.sum(axis=0), by.total.sum(axis=0), by.square.sum(axis=0)).sum()
    inside = _scatter(by.count, by.total, by.square).sum()
    return float(whole + BLOCK_WEIGHT * inside + stock.extra[chosen].sum())


def middle(stock: Stock, seats: Seats, chosen: Indices) -> Floats:
    """The middle of the pack, in units; NaN for a figure that nobody measured. (3,)"""
    by = _by_block(stock, seats, chosen)
    count = by.count.sum(axis=0)
    return np.where(count > 0, by.total.sum(axis=0) / np.maximum(count, 1.0), np.nan)


def replacing(stock: Stock, seats: Seats, chosen: Indices) -> Floats:
    """Change of the sum when candidate j takes the seat p instead, (k, n); infinite where j is
    seated already."""
    by = _by_block(stock, seats, chosen)
    known, filled = stock.known.astype(np.float64), stock.filled
    steps = [
        values[None, :, :] - values[chosen][:, None, :] for values in (known, filled, filled**2)
    ]
    here = [sums[seats.block][:, None, :] for sums in (by.count, by.total, by.square)]
    whole = [sums.sum(axis=0) for sums in (by.count, by.total, by.square)]
    block = _scatter(*(old + step for old, step in zip(here, steps, strict=True))) - _scatter(*here)
    pack = _scatter(*(old + step for old, step in zip(whole, steps, strict=True)))
    change: Floats = BLOCK_WEIGHT * block.sum(axis=2) + (pack - _scatter(*whole)).sum(axis=2)
    change = change + stock.extra[None, :] - stock.extra[chosen][:, None]
    change[:, chosen] = np.inf
    return change


def exchanging(stock: Stock, seats: Seats, chosen: Indices) -> Floats:
    """Change of the sum when the modules of seats p and q change places, (k, k)."""
    by = _by_block(stock, seats, chosen)
    mine = [
        values[chosen] for values in (stock.known.astype(np.float64), stock.filled, stock.filled**2)
    ]
    here = [sums[seats.block][:, None, :] for sums in (by.count, by.total, by.square)]
    steps = [values[None, :, :] - values[:, None, :] for values in mine]
    one = _scatter(*(old + step for old, step in zip(here, steps, strict=True))) - _scatter(*here)
    change: Floats = BLOCK_WEIGHT * (one.sum(axis=2) + one.sum(axis=2).T)
    change[seats.block[:, None] == seats.block[None, :]] = np.inf
    return change


def apart(points: Floats, others: Floats) -> Floats:
    """|a − b|² over the figures that both have. points (n, 3), others (m, 3) → (n, m)"""
    both = np.nan_to_num(points[:, None, :] - others[None, :, :])
    squares: Floats = (both**2).sum(axis=2)
    return squares
