"""Made-up stocks of tested modules, and the least sum found by trying everything."""

from dataclasses import replace
from itertools import combinations
from typing import Any

import numpy as np

from packs.rules import closeness, matching, matching_bounds
from packs.rules.matching import Asked

MARKS = {"capacity_ah": 5.5, "resistance_mohm": 30.0, "stand_mv_per_day": 8.0}
SMALL = matching_bounds.Effort(boxes=2_000, exact=400)


def made(count: int, seed: int, blocks: tuple[int, ...], **changes: Any) -> Asked:
    """A made-up stock: capacity, resistance and self-discharge that scatter as tested ones do."""
    random = np.random.default_rng(seed)
    figures = np.column_stack(
        [
            random.normal(6.0, 0.35, count),
            random.normal(22.0, 3.0, count),
            random.gamma(4, 1.2, count),
        ]
    )
    positions = sum(blocks)
    asked = Asked(
        tags=tuple(f"S-{number:03d}" for number in range(count)),
        figures=figures,
        age_days=random.uniform(0.0, 300.0, count),
        blocks=blocks,
        positions=tuple(range(1, positions + 1)),
        stay=np.full((positions, 3), np.nan),
        pass_marks=MARKS,
    )
    return replace(asked, **changes)


def question(asked: Asked) -> matching_bounds.Question:
    return matching._question(asked)[0]


def by_masks(asked: Asked) -> float:
    """The least sum over every choice of modules and every way to pair them, by subsets.

    `pairs[mask]` is the least Σ ½|a − b|² of dividing the modules of the mask into pairs; the
    rest of the sum depends on the modules alone.
    """
    stock, wanted = question(asked).stock, len(asked.positions)
    count = len(asked.tags)
    half = 0.5 * closeness.BLOCK_WEIGHT * closeness.apart(stock.points, stock.points)
    pairs = {0: 0.0}
    least = np.inf
    for size in range(2, wanted + 1, 2):
        for chosen in combinations(range(count), size):
            mask = sum(1 << index for index in chosen)
            first = chosen[0]
            pairs[mask] = min(
                pairs[mask & ~(1 << first) & ~(1 << other)] + half[first, other]
                for other in chosen[1:]
            )
            if size == wanted:
                points = stock.points[list(chosen)]
                scatter = ((points - points.mean(axis=0)) ** 2).sum()
                least = min(least, pairs[mask] + scatter + stock.extra[list(chosen)].sum())
    return float(least)
