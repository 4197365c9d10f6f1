"""Rows that belong to owners and lie together owner by owner: found, spread out, summed.

Every sum is taken over one owner's rows alone and in their order, so that it is the same to the
last bit whoever else is in the arrays.
"""

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from reports.trends.history import Floats

Counts = NDArray[np.int_]
ScalarT = TypeVar("ScalarT", bound=np.generic)


def edges(owner: Counts, owners: int) -> Counts:
    """First row of each owner, and the end of the last. owner (r,) sorted → (owners + 1,)"""
    return np.searchsorted(owner, np.arange(owners + 1))


def search(
    owner: Counts, values: Floats, asked_owner: Counts, asked: Floats, *, after: bool
) -> Counts:
    """Where each value that is asked for would stand among the rows of its owner. (k,)

    owner (r,) and values (r,) sorted by owner, then value. `after`: behind its equals, so that the
    rows before it are those up to the value; else before them.
    """
    every = np.unique(np.concatenate([values, asked]))
    rank, asked_rank = np.searchsorted(every, values), np.searchsorted(every, asked)
    size = every.size + 1
    return np.searchsorted(
        owner * size + rank, asked_owner * size + asked_rank, side="right" if after else "left"
    )


def spread_out(low: Counts, high: Counts) -> tuple[Counts, Counts]:
    """Of ranges of rows [low, high) (k,): which range, and which row, for each row in one."""
    count = np.maximum(high - low, 0)
    which = np.repeat(np.arange(low.size), count)
    before = np.cumsum(count) - count
    return which, np.arange(which.size) - np.repeat(before - low, count)


def _reduced(
    add: np.ufunc, values: NDArray[ScalarT], count: Counts, empty: float
) -> NDArray[ScalarT]:
    found = np.full((count.size, *values.shape[1:]), empty, dtype=values.dtype)
    some = np.flatnonzero(count)
    if some.size:
        first = (np.cumsum(count) - count)[some]
        found[some] = add.reduceat(values, first, axis=0)
    return found


def sums(values: Floats, count: Counts) -> Floats:
    """Sum over each owner's rows, which lie one owner after the other. (r, …), (k,) → (k, …)"""
    return _reduced(np.add, values, count, 0.0)


def greatest(values: Floats, count: Counts, *, least: float) -> Floats:
    """The greatest of each owner's rows, `least` where it has none. (r, …), (k,) → (k, …)"""
    return _reduced(np.maximum, values, count, least)
