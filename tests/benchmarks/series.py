"""Counting a capacity series against one bare integral: `python -m tests.benchmarks.series`.

100,000 readings of a discharge with noise: capacity and energy to the cut-off, the cut-off between
two readings and the search for a knee, against one `numpy.trapezoid` of the current alone. Both take
turns, and the median of each counts. Prints a ratio, since seconds belong to a machine.
"""

import time
from collections.abc import Callable

import numpy as np

from packs.rules import series

POINTS, TURNS = 100_000, 201
CELLS, CUT_OFF_V, AMPERES, HOURS = 6, 6.0, 1.3, 5.0


def seconds_of(act: Callable[[], object]) -> float:
    begun = time.perf_counter()
    act()
    return time.perf_counter() - begun


def main() -> None:
    noise = np.random.default_rng(1)
    seconds = np.linspace(0, HOURS * 3600, POINTS)
    share = seconds / seconds[-1]
    current = AMPERES + noise.normal(0, 0.001, POINTS)
    fall = 1.25 / (1 + np.exp(-(share - 0.99) / 0.012))
    volts = CELLS * (1.25 - 0.05 * share - fall) + noise.normal(0, 0.002, POINTS)

    def counted() -> series.Counted:
        return series.count(seconds, current, volts, cut_off_v=CUT_OFF_V, cells=CELLS)

    assert counted().cycles[0].ended_by == "cut_off"
    bare, whole = [], []
    for _ in range(TURNS):
        bare.append(seconds_of(lambda: np.trapezoid(current, seconds)))
        whole.append(seconds_of(counted))
    ratio = float(np.median(whole) / np.median(bare))
    print(f"{POINTS} readings: {ratio:.1f} times one numpy.trapezoid")


if __name__ == "__main__":
    main()
