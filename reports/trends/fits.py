"""The figures that a fit consists of, as kept and read back; and those held before any data."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from reports.trends import failures
from reports.trends.history import Floats
from reports.trends.segments import Counts

Pair = tuple[float, float]
Matrix = tuple[Pair, Pair]


@dataclass(frozen=True)
class GroupFit:
    """One pack type and series. y is the logarithm of spread over limit, above the noise floor.

    mean: start of a build and rate per year, of the group; mean_cov: how unsure that is;
    effect_cov: how builds differ; noise_variance: of one reading; temperature: effect on y of 10 °C
    more, with its variance; failures_per_year: of any cause; factor: on the failures foreseen.
    """

    mean: Pair
    mean_cov: Matrix
    effect_cov: Matrix
    noise_variance: float
    temperature: float
    temperature_variance: float
    failures_per_year: float
    factor: float


@dataclass(frozen=True)
class Fit:
    """All figures of one fit. fleet: for a group not seen; groups: for those seen."""

    through_day: float
    fleet: GroupFit
    groups: Mapping[str, GroupFit]
    link: failures.Link

    def group(self, name: str) -> GroupFit:
        """The group's own figures, or the fleet's where it was not seen."""
        return self.groups.get(name, self.fleet)

    def parameters(self) -> dict[str, Any]:
        """As JSON keeps it: numbers, lists and names; read back, the very same fit."""
        return {
            "through_day": self.through_day,
            "fleet": _told(self.fleet),
            "groups": {name: _told(self.groups[name]) for name in sorted(self.groups)},
            "link": {name: getattr(self.link, name) for name in _LINK},
        }

    @classmethod
    def from_parameters(cls, kept: Mapping[str, Any]) -> "Fit":
        """The fit that `parameters` told."""
        return cls(
            through_day=float(kept["through_day"]),
            fleet=_read(kept["fleet"]),
            groups={name: _read(group) for name, group in sorted(kept["groups"].items())},
            link=failures.Link(**{name: float(kept["link"][name]) for name in _LINK}),
        )


_LINK = ("other", "over", "shift", "width")
_MATRICES = ("mean_cov", "effect_cov")
_NUMBERS = (
    "noise_variance",
    "temperature",
    "temperature_variance",
    "failures_per_year",
    "factor",
)


def _told(group: GroupFit) -> dict[str, Any]:
    told: dict[str, Any] = {name: getattr(group, name) for name in _NUMBERS}
    told["mean"] = list(group.mean)
    return told | {name: [list(row) for row in getattr(group, name)] for name in _MATRICES}


def _read(kept: Mapping[str, Any]) -> GroupFit:
    return GroupFit(
        mean=pair(kept["mean"]),
        mean_cov=matrix(kept["mean_cov"]),
        effect_cov=matrix(kept["effect_cov"]),
        noise_variance=float(kept["noise_variance"]),
        temperature=float(kept["temperature"]),
        temperature_variance=float(kept["temperature_variance"]),
        failures_per_year=float(kept["failures_per_year"]),
        factor=float(kept["factor"]),
    )


def pair(values: Any) -> Pair:
    """Two numbers as plain floats."""
    return float(values[0]), float(values[1])


def matrix(values: Any) -> Matrix:
    """A 2 × 2 table as plain floats."""
    return pair(values[0]), pair(values[1])


@dataclass(frozen=True, eq=False)
class GrowthTable:
    """The figures of k groups, a row each: see `GroupFit`. mean (k, 2), …_cov (k, 2, 2)."""

    mean: Floats
    mean_cov: Floats
    effect_cov: Floats
    noise_variance: Floats
    temperature: Floats
    failures_per_year: Floats
    factor: Floats

    def of(self, group: Counts) -> "GrowthTable":
        """A row for each of `group` (n,), places in this table."""
        return GrowthTable(**{name: getattr(self, name)[group] for name in _SHAPES})


_SHAPES: Mapping[str, tuple[int, ...]] = {
    "mean": (2,),
    "mean_cov": (2, 2),
    "effect_cov": (2, 2),
    "noise_variance": (),
    "temperature": (),
    "failures_per_year": (),
    "factor": (),
}


def growth_table(groups: Sequence[GroupFit]) -> GrowthTable:
    """Groups as a table, in their order."""
    columns = {
        name: np.array([getattr(group, name) for group in groups], dtype=np.float64)
        for name in _SHAPES
    }
    return GrowthTable(
        **{name: column.reshape(-1, *_SHAPES[name]) for name, column in columns.items()}
    )


# Before any data: builds start at about a sixth of their limit and grow by a quarter a year, both
# known only roughly and differing from build to build; readings scatter by a fifth. Assumptions, no
# source; wide, so that a few dozen builds outweigh them.
FLEET_PRIOR = GroupFit(
    mean=(-1.8, 0.25),
    mean_cov=((1.0, 0.0), (0.0, 0.09)),
    effect_cov=((0.36, 0.0), (0.0, 0.09)),
    noise_variance=0.04,
    temperature=0.0,
    temperature_variance=0.01,
    failures_per_year=failures.RATE_PER_YEAR,
    factor=1.0,
)

PRIOR = Fit(through_day=0.0, fleet=FLEET_PRIOR, groups={}, link=failures.PRIOR_LINK)
