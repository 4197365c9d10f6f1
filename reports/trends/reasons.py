"""Why an outlook says what it says, in sentences a technician would use."""

import math
from datetime import UTC, datetime, timedelta

import numpy as np

from reports.trends import evidence
from reports.trends.fits import GroupFit
from reports.trends.history import PackHistory, position_starts, since

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
TOLD_TEMPERATURE = 0.05  # effect of 10 °C from which a sentence is spent on it
LEVELS = frozenset({"block", "module", "cell"})
OLD_DAYS = 365.0  # a last check older than this is told; a yearly visit, common practice, no source


def date_of(day: float) -> str:
    """Date of a day since 1970-01-01, UTC, as people write it."""
    when = EPOCH + timedelta(days=day)
    return f"{when.day} {when:%b %Y}"


def _noun(known: PackHistory) -> str:
    """What a position of this series is: the last part of its group's name."""
    level = known.group.rsplit("/", 1)[-1]
    return level.capitalize() if level in LEVELS else "Position"


def too_little(known: PackHistory, found: evidence.Evidence) -> tuple[str, ...]:
    """For a build without two comparable checks."""
    checks = int(found.checks[0])
    seen = "no comparable check" if checks == 0 else "only one comparable check"
    told = [
        f"There is {seen} since {date_of(since(known))}; a trend needs two.",
        "Until then the chance of failing is that of packs of this kind in general.",
    ]
    return tuple(told + _limit(known, checks) + _older(known, found))


def trend(
    known: PackHistory, found: evidence.Evidence, group: GroupFit, growing: bool
) -> tuple[str, ...]:
    """For a build with a trend."""
    checks = int(found.checks[0])
    told = [f"Based on {checks} comparable checks since {date_of(since(known))}."]
    told += _limit(known, checks) + _floor(known, checks)
    if growing:
        told.append("The spread grows faster than a year's use explains.")
    return tuple(told + _weakest(known) + _older(known, found) + _heat(known, checks, group))


def _limit(known: PackHistory, checks: int) -> list[str]:
    """The last reading against the limit."""
    if checks == 0:
        return []
    last, limit = float(known.spread_v[-1]), known.limit_v
    day = date_of(float(known.days[-1]))
    told = [f"On {day} the spread was {last:.3f} V; the limit is {limit:.3f} V."]
    if last >= limit:
        told.append("That is over the limit.")
    if known.contact_day - known.days[-1] > OLD_DAYS:
        told.append("The last check is over a year older than the last contact.")
    return told


def _floor(known: PackHistory, checks: int) -> list[str]:
    floor = evidence.floor_v(known)
    if np.all(known.spread_v[-checks:] > floor):
        return []
    if np.any(known.spread_v[-checks:] > floor):
        return [f"Some readings lie below {floor:.3f} V, which the meter alone would show."]
    return [f"No reading is above {floor:.3f} V, which the meter alone would show."]


def _weakest(known: PackHistory) -> list[str]:
    """The weakest position now, and how it went since it was last renewed."""
    position = evidence.weakest_position(known, float(known.days[-1]))
    if position is None:
        return []
    start = float(position_starts(known)[position - 1])
    below = known.deviation_v[known.days >= start, position - 1]
    below = below[np.isfinite(below)]
    told = f"{_noun(known)} {position} is weakest: {below[-1]:.3f} V below the middle"
    if below.size < 2 or math.isclose(below[0], below[-1], abs_tol=5e-4):
        return [f"{told}."]
    if below[0] <= 0.0:
        return [f"{told}; at its first check it was not low."]
    return [f"{told}, from {below[0]:.3f} V at its first check."]


def _older(known: PackHistory, found: evidence.Evidence) -> list[str]:
    """A position that the last change left as it was keeps its own trend, and is told."""
    position = int(found.own_position[0])
    if position == 0:
        return []
    start = float(position_starts(known)[position - 1])
    checks = int(found.own_checks[0])
    return [
        f"{_noun(known)} {position} was not renewed at the last change; "
        f"its own trend runs over {checks} checks since {date_of(start)}."
    ]


def _heat(known: PackHistory, checks: int, group: GroupFit) -> list[str]:
    unknown = int(np.isnan(known.temperature_c[-checks:]).sum())
    if unknown == checks:
        return ["The temperature is unknown at every check, so nothing is allowed for it."]
    if unknown:
        return [f"The temperature is unknown at {unknown} of {checks} checks; they count for less."]
    if abs(group.temperature) < TOLD_TEMPERATURE:
        return []
    return ["What the temperature did to the readings is taken out."]
