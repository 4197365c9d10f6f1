"""A made-up fleet that does not follow the model: resistances that creep by a power of time.

Each position's resistance rises from its own start, by its own amount and with its own exponent;
the spread under load is current times their range, and readings carry noise. A pack fails when its
true spread passes a threshold of its own near the limit, or of something else altogether.
"""

from dataclasses import dataclass

import numpy as np

from reports.trends.history import YEAR_DAYS, Floats, PackHistory

LIMIT_V = 1.0
LOAD_A = 60.0
POSITIONS = 14
NOISE_V = 0.02
START_DAY = 18000.0


@dataclass(frozen=True)
class Nature:
    """How a fleet behaves: growth of the worst positions, and failures of other causes a year."""

    growth: float = 1.0
    other_per_year: float = 0.04
    watch_years: float = 4.0
    check_days: float = 120.0
    shortest: float = 0.4


def pack(seed: int, nature: Nature, group: str = "MADE-UP/load/block") -> PackHistory:
    """One pack, watched until it fails or the time is over."""
    rng = np.random.default_rng([2024, seed])
    end = rng.uniform(nature.shortest, 1.0) * nature.watch_years
    years = np.sort(rng.uniform(0.0, end, max(2, int(end * YEAR_DAYS / nature.check_days))))
    extra = nature.growth * rng.gamma(0.35, 0.0016, POSITIONS)
    power = rng.uniform(0.8, 2.2, POSITIONS)
    start = rng.normal(0.020, 0.0006, POSITIONS)

    def voltages(at: Floats) -> Floats:
        resistance = start + extra * at[:, None] ** power
        return -LOAD_A * resistance

    fine = np.linspace(0.0, end, 400)
    over = np.ptp(voltages(fine), axis=1) > LIMIT_V * rng.uniform(0.9, 1.5)
    by_wear = float(fine[np.argmax(over)]) if over.any() else np.inf
    fails = min(by_wear, float(rng.exponential(1.0 / nature.other_per_year)))
    years = years[years < fails]
    read = voltages(years) + rng.normal(0.0, NOISE_V, (years.size, POSITIONS))
    failures = np.array([START_DAY + YEAR_DAYS * fails]) if fails < end else np.zeros(0)
    return PackHistory(
        days=START_DAY + YEAR_DAYS * years,
        spread_v=np.ptp(read, axis=1),
        deviation_v=np.median(read, axis=1)[:, None] - read,
        temperature_c=rng.normal(22.0, 6.0, years.size),
        renewal_days=np.zeros(0),
        renewed=np.zeros((0, POSITIONS), dtype=np.bool_),
        failure_days=failures,
        entry_day=START_DAY,
        contact_day=START_DAY + YEAR_DAYS * min(end, fails),
        limit_v=LIMIT_V,
        group=group,
    )


def packs(seeds: range, nature: Nature) -> list[PackHistory]:
    """Many packs, each the same whenever its seed is the same."""
    return [pack(seed, nature) for seed in seeds]
