"""What the trends need to know of one pack: its comparable checks, its renewals and its failures.

Days are floats since 1970-01-01 00:00 UTC, so that an instant is a number and a year is
``YEAR_DAYS`` long. Volts, degrees Celsius. Nothing here reads a clock or a table.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

YEAR_DAYS = 365.25  # d; the Julian year, by definition
LEAST_POSITIONS = 1  # a single one has no mates, and so no comparable check, but a pack it is


@dataclass(frozen=True, eq=False)
class PackHistory:
    """One pack as known at some revision, told up to some day; one series of checks.

    days            (n,) day of each comparable check, sorted
    spread_v        (n,) spread at the reference, V
    deviation_v     (n, p) each position's distance below the median, V (at reference); NaN unknown
    temperature_c   (n,) pack temperature, °C; NaN unknown
    renewal_days    (k,) day of each change of modules, bus bars or sense leads and of each
                    equalising that begins a build, sorted
    renewed         (k, p) True where a position was renewed; a whole row for the pack as a whole
    failure_days    (f,) recorded failures of any cause, sorted
    entry_day       first day under observation: the pack's first fact
    contact_day     last contact: the pack's last fact of any kind
    limit_v         the type's spread limit for this series, V
    group           pack type and series, such as ``TYPE/load/block``
    """

    days: Floats
    spread_v: Floats
    deviation_v: Floats
    temperature_c: Floats
    renewal_days: Floats
    renewed: Bools
    failure_days: Floats
    entry_day: float
    contact_day: float
    limit_v: float
    group: str

    def __post_init__(self) -> None:
        _agree("spread_v", self.spread_v.shape, self.days.shape)
        _agree("temperature_c", self.temperature_c.shape, self.days.shape)
        _agree("deviation_v", self.deviation_v.shape[:1], self.days.shape)
        _agree("renewed", self.renewed.shape[:1], self.renewal_days.shape)
        _agree("renewed", self.renewed.shape[1:], self.deviation_v.shape[1:])
        for name in ("days", "renewal_days", "failure_days"):
            values: Floats = getattr(self, name)
            if not np.all(values[1:] >= values[:-1]):
                raise ValueError(f"{name} is not sorted.")
        if not np.all(self.spread_v >= 0):
            raise ValueError("spread_v has a reading that is unknown or below zero.")
        if self.positions < LEAST_POSITIONS:
            raise ValueError("A pack has at least one position; here is none.")
        if not self.limit_v > 0:
            raise ValueError(f"limit_v is {self.limit_v}, and a limit lies above zero.")

    @property
    def positions(self) -> int:
        """How many positions a check of this series has."""
        return int(self.deviation_v.shape[1])


def _agree(name: str, found: tuple[int, ...], wanted: tuple[int, ...]) -> None:
    if found != wanted:
        raise ValueError(f"{name} has shape {found} where {wanted} belongs.")


def since(history: PackHistory) -> float:
    """Start of the present build: the day of the last renewal, or the first day observed."""
    if history.renewal_days.size:
        return float(history.renewal_days[-1])
    return float(history.entry_day)


def position_starts(history: PackHistory) -> Floats:
    """Day since which each position is the same one: its own last renewal, or entry. (p,)"""
    days = np.where(history.renewed, history.renewal_days[:, None], history.entry_day)
    starts: Floats = np.max(days, axis=0, initial=history.entry_day)
    return starts


def through(history: PackHistory, day: float) -> PackHistory:
    """The history as it stood at the end of `day`: later checks, renewals and failures left out.

    A fact dated exactly `day` is in. The last contact becomes `day` where it was later.
    """
    seen = history.days <= day
    changed = history.renewal_days <= day
    return replace(
        history,
        days=history.days[seen],
        spread_v=history.spread_v[seen],
        deviation_v=history.deviation_v[seen],
        temperature_c=history.temperature_c[seen],
        renewal_days=history.renewal_days[changed],
        renewed=history.renewed[changed],
        failure_days=history.failure_days[history.failure_days <= day],
        contact_day=min(history.contact_day, day),
    )
