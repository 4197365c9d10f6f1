"""How good forecasts were. p (n,) probabilities; y (n,) what happened, 1 or 0; w (n,) weights.

Brier (1950) Mon. Weather Rev. 78, 1; Murphy (1973) J. Appl. Meteorol. 12, 595; Harrell et al.
(1982) JAMA 247, 2543.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reports.trends.history import Floats


@dataclass(frozen=True)
class Decomposition:
    """Brier score = reliability − resolution + uncertainty, over groups of equal forecasts."""

    reliability: float
    resolution: float
    uncertainty: float

    @property
    def score(self) -> float:
        """The Brier score that the parts make."""
        return self.reliability - self.resolution + self.uncertainty


@dataclass(frozen=True)
class Bin:
    """Forecasts from `low` up: how many, their mean, and the share that happened."""

    low: float
    high: float
    count: int
    forecast: float
    observed: float


@dataclass(frozen=True)
class Concordance:
    """Pairs in which the higher risk failed earlier, later, or was told as equal."""

    concordant: float
    discordant: float
    tied: float

    @property
    def share(self) -> float | None:
        """Concordant pairs and half the tied, of all usable; None where there is none."""
        pairs = self.concordant + self.discordant + self.tied
        return (self.concordant + 0.5 * self.tied) / pairs if pairs else None


def brier(p: Floats, y: Floats) -> float:
    """Mean square of forecast less outcome: 0 is perfect."""
    return float(np.mean((p - y) ** 2))


def skill(p: Floats, y: Floats, base: float | None = None) -> float | None:
    """1 − Brier score over that of telling everybody `base` (the share that happened, if not told).

    None where the base is itself perfect: then there is nothing to gain.
    """
    told = float(np.mean(y)) if base is None else base
    reference = float(np.mean((told - y) ** 2))
    return 1.0 - brier(p, y) / reference if reference > 0 else None


def log_score(p: Floats, y: Floats) -> float:
    """Mean of minus the logarithm of the probability given to what happened."""
    return float(-np.mean(np.log(np.where(y > 0, p, 1.0 - p))))


def decompose(p: Floats, y: Floats, w: Floats | None = None) -> Decomposition:
    """Murphy's three parts, over groups of equal forecasts; y may be shares that happened."""
    weight = np.ones_like(p) if w is None else w
    weight = weight / weight.sum()
    values, index = np.unique(p, return_inverse=True)
    size = np.bincount(index, weights=weight, minlength=values.size)
    observed = np.bincount(index, weights=weight * y, minlength=values.size) / size
    rate = float(np.sum(weight * y))
    return Decomposition(
        reliability=float(np.sum(size * (values - observed) ** 2)),
        resolution=float(np.sum(size * (observed - rate) ** 2)),
        uncertainty=rate * (1.0 - rate),
    )


def reliability(p: Floats, y: Floats, bins: int = 10) -> list[Bin]:
    """Bins of equal width that hold a forecast, lowest first; a forecast on an edge is in the lower
    bin, but 1 is in the last."""
    edges = np.linspace(0.0, 1.0, bins + 1)
    index = np.searchsorted(edges[1:-1], p, side="left")
    return [
        Bin(
            low=float(edges[k]),
            high=float(edges[k + 1]),
            count=int(np.sum(index == k)),
            forecast=float(p[index == k].mean()),
            observed=float(y[index == k].mean()),
        )
        for k in range(bins)
        if np.any(index == k)
    ]


def calibration_error(p: Floats, y: Floats, bins: int = 10) -> float:
    """Expected calibration error: mean distance of forecast and outcome, bins by size."""
    table = reliability(p, y, bins)
    return sum(each.count * abs(each.forecast - each.observed) for each in table) / p.size


def concordance(
    time: Floats,
    event: Floats,
    risk: Floats,
    *,
    age: NDArray[np.generic] | None = None,
    weight: Floats | None = None,
) -> Concordance:
    """Pairs told in the right order; a pair counts if the earlier time is a failure.

    At equal time a failure is before a censoring, and two failures are no pair. With `age` (n,)
    only pairs of equal age are compared, since age alone ranks packs well and says little.
    """
    w = np.ones_like(time) if weight is None else weight
    sums = np.zeros(3)
    for i in np.flatnonzero(event > 0):
        later = (time > time[i]) | ((time == time[i]) & (event == 0))
        if age is not None:
            later &= age == age[i]
        pairs = w[i] * w[later]
        mine = risk[later]
        sums += [
            pairs[mine < risk[i]].sum(),
            pairs[mine > risk[i]].sum(),
            pairs[mine == risk[i]].sum(),
        ]
    return Concordance(*(float(each) for each in sums))
