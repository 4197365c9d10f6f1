"""Where the spread may go from its last check: the two edges of the likely range."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

STEPS = 24
LEAST_V = 1e-3  # of a reading, so that a factor leads from it to the limit
MOST_E = 50.0  # of an exponent, so that a steep edge stays a number


@dataclass(frozen=True)
class Forecast:
    """Where the spread may go from the last check, V, and the days its limit may be reached.

    Days are counted since 1970.
    """

    from_day: float
    spread_v: float
    early_day: float | None
    late_day: float | None


@dataclass(frozen=True)
class Fan:
    """The spread grows by a factor a day from the last check to the limit on the early and on the
    late day; it never falls below the last reading, since packs do not heal."""

    forecast: Forecast
    limit_v: float
    until_day: float

    def high(self, day: float) -> float:
        return self._grown(self.forecast.early_day, day)

    def low(self, day: float) -> float:
        return self._grown(self.forecast.late_day, day)

    def edges(self, ceiling: float) -> Iterator[tuple[float, float, float]]:
        """Day, lower and upper edge, as far as the upper one stays below the ceiling."""
        start = self.forecast.from_day
        stop = min(self.until_day, self._leaves(ceiling))
        for step in range(STEPS + 1):
            day = start + (stop - start) * step / STEPS
            yield day, self.low(day), self.high(day)

    def _grown(self, reached: float | None, day: float) -> float:
        if reached is None:
            return self._start_v
        share = (day - self.forecast.from_day) / self._days_to(reached)
        return self._start_v * math.exp(min(share * self._growth, MOST_E))

    def _leaves(self, ceiling: float) -> float:
        """The day when the upper edge reaches the ceiling."""
        reached = self.forecast.early_day
        if reached is None:
            return self.until_day
        share = math.log(ceiling / self._start_v) / self._growth
        return self.forecast.from_day + share * self._days_to(reached)

    def _days_to(self, reached: float) -> float:
        return max(reached - self.forecast.from_day, 1.0)

    @property
    def _start_v(self) -> float:
        return max(self.forecast.spread_v, LEAST_V)

    @property
    def _growth(self) -> float:
        """The logarithm of the factor from the last reading to the limit."""
        return math.log(self.limit_v / self._start_v)
