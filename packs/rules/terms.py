"""When a promise of months and kilometres ends."""

from calendar import monthrange
from collections.abc import Iterable
from datetime import date
from itertools import pairwise


def add_months(day: date, months: int) -> date:
    """The same day of a later month, or that month's last where it is shorter."""
    years, month = divmod(day.month - 1 + months, 12)
    year = day.year + years
    return date(year, month + 1, min(day.day, monthrange(year, month + 1)[1]))


def carried_km(stays: Iterable[tuple[int | None, int | None]]) -> int | None:
    """How much further the odometer of the last car stands than that of the first, km.

    `stays` are the odometers at which a pack went into and came out of each car, in order; None
    where the one that is needed was not written down.
    """
    total = 0
    for (_, out_of), (into, _) in pairwise(stays):
        if out_of is None or into is None:
            return None
        total += into - out_of
    return total
