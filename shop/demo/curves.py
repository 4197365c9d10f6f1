"""What a tester logs while it charges and discharges a module: a made-up curve, drawn anew."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from shop.demo.mechanism import Floats

STEP_S = 20.0
REST_S = 1800.0
BEYOND = 4  # readings below the cut-off before the tester lets go; assumption
STEEP = 0.012  # share of the charge over which the voltage falls away at the end; assumption
REVERSED_BY_V = 1.4  # so far an empty cell falls that its mates drive; assumption


@dataclass(frozen=True)
class Discharge:
    """Cycles of one module: amperes both ways, the capacity of each cycle, where it is cut off.

    A cell that holds only `weak_share` of its mates' charge drops out before the end.
    """

    cells: int
    current_a: float
    capacities_ah: tuple[float, ...]
    mohm: float
    empty_v: float
    full_v: float
    cut_off_cell_v: float
    weak_share: float = 1.0

    def series(self) -> dict[str, Floats]:
        """Seconds, amperes and volts, each (n,): charge, rest and discharge, cycle by cycle."""
        parts = [part for ah in self.capacities_ah for part in self._cycle(ah)]
        amperes = np.concatenate([np.full(volts.size, amps) for amps, volts in parts])
        volts = np.concatenate([volts for _, volts in parts])
        return {
            "seconds": STEP_S * np.arange(volts.size, dtype=np.float64),
            "current_a": amperes,
            "voltage_v": np.round(volts, 3),
        }

    def _cycle(self, ah: float) -> list[tuple[float, Floats]]:
        flow = np.arange(0.0, 1.1, STEP_S * self.current_a / 3600 / ah)
        rest = np.full(int(REST_S / STEP_S), self._open_v(np.ones(1))[0])
        loss = self.current_a * self.mohm / 1000
        down = self._open_v(1 - flow) - loss
        end = self.cells * self.cut_off_cell_v
        return [
            (-self.current_a, self._open_v(np.minimum(flow, 1.0)) + loss),
            (0.0, rest),
            (self.current_a, down[: int((down < end).argmax()) + BEYOND]),
            (0.0, np.full(5, end + 0.1 * self.cells)),
        ]

    def _open_v(self, charge: Floats) -> Floats:
        """(n,) V of the module at a share of its charge, all cells alike but one."""
        weak = 1 - (1 - charge) / self.weak_share
        volts: Floats = (self.cells - 1) * self._cell_v(charge) + self._cell_v(weak)
        return volts

    def _cell_v(self, charge: Floats) -> Floats:
        falls = np.minimum(0.1 * np.exp(-charge / STEEP), REVERSED_BY_V)
        plateau = self.empty_v + (self.full_v - self.empty_v) * np.clip(charge, 0, 1)
        volts: Floats = plateau - falls
        return volts


def arrays(said: Any) -> Any:
    """What the register takes for a series: the arrays of a curve."""
    return said.series() if isinstance(said, Discharge) else said
