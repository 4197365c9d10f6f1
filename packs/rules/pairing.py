"""Which rest check belongs to which load check."""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

PAIR_WITHIN_S = 3600
"""How far apart a load check and a rest check without a set may lie and still pair, s: the API's
promise. Common practice, no source."""


def pair(
    load_times_s: Floats,
    load_sets: NDArray[np.int64],
    rest_times_s: Floats,
    rest_sets: NDArray[np.int64],
) -> NDArray[np.int64]:
    """Index of the rest check that pairs with each load check, or −1: shape (n,).

    Times (n,) and (m,) in s from any one origin; sets as codes, −1 for none. A load check of a
    set pairs within its set only, however far apart; one without pairs with the nearest rest
    check of any set or none, up to PAIR_WITHIN_S. The nearest counts, of two as near the earlier,
    of two at one time the first given. Give checks of one pack, level and build only.
    """
    found = np.full(load_times_s.shape, -1, dtype=np.int64)
    if not load_times_s.size or not rest_times_s.size:
        return found
    alone = load_sets < 0
    found[alone] = _nearest(
        load_times_s[alone],
        np.zeros(np.count_nonzero(alone), dtype=np.int64),
        rest_times_s,
        np.zeros(rest_sets.shape, dtype=np.int64),
        PAIR_WITHIN_S,
    )
    found[~alone] = _nearest(
        load_times_s[~alone], load_sets[~alone], rest_times_s, rest_sets, np.inf
    )
    return found


def _nearest(
    load_times_s: Floats,
    load_sets: NDArray[np.int64],
    rest_times_s: Floats,
    rest_sets: NDArray[np.int64],
    within_s: float,
) -> NDArray[np.int64]:
    """Index of the nearest rest check of the same set, or −1 where none is within `within_s`."""
    order = np.lexsort((rest_times_s, rest_sets))
    loads, rests = _places(load_times_s, load_sets, rest_times_s[order], rest_sets[order])
    after = np.searchsorted(rests, loads)
    before = np.searchsorted(rests, rests[np.maximum(after - 1, 0)])
    after = np.minimum(after, rests.size - 1)
    gap_before, gap_after = (
        _gaps(load_times_s, load_sets, rest_times_s[order[at]], rest_sets[order[at]])
        for at in (before, after)
    )
    nearest = order[np.where(gap_before <= gap_after, before, after)]
    gap = np.minimum(gap_before, gap_after)
    found: NDArray[np.int64] = np.where(np.isfinite(gap) & (gap <= within_s), nearest, -1)
    return found


def _places(
    load_times_s: Floats,
    load_sets: NDArray[np.int64],
    rest_times_s: Floats,
    rest_sets: NDArray[np.int64],
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """One whole number for each check that sorts by set, then by time."""
    times, ranks = np.unique(np.concatenate((load_times_s, rest_times_s)), return_inverse=True)
    places = np.concatenate((load_sets, rest_sets)) * times.size + ranks
    return places[: load_times_s.size], places[load_times_s.size :]


def _gaps(
    load_times_s: Floats,
    load_sets: NDArray[np.int64],
    rest_times_s: Floats,
    rest_sets: NDArray[np.int64],
) -> Floats:
    """Seconds between each load check and the rest check beside it; infinite in another set."""
    return np.where(load_sets == rest_sets, np.abs(load_times_s - rest_times_s), np.inf)
