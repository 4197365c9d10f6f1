"""Why an outlook says what it says, in sentences a technician would use."""

import math
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import lru_cache

import numpy as np

from reports.trends import evidence, segments
from reports.trends.evidence import Evidence
from reports.trends.histories import Histories
from reports.trends.history import Floats
from reports.trends.segments import Counts

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
TOLD_TEMPERATURE = 0.05  # effect of 10 °C from which a sentence is spent on it
LEVELS = frozenset({"block", "module", "cell"})
OLD_DAYS = 365.0  # a last check older than this is told; a yearly visit, common practice, no source


@dataclass(frozen=True, slots=True)
class Seen:
    """What the sentences about one pack are made of; days since 1970, volts.

    checks: in the present build, `low` of them at the floor or below it, `cool` of unknown
    temperature. weakest: position from 1, 0 for none, told `weak_checks` times since it was last
    renewed, first and last so far below the middle. own: the older position that is followed.
    """

    noun: str
    checks: int
    since_day: float
    spread_v: float
    limit_v: float
    floor_v: float
    day: float
    contact_day: float
    low: int
    cool: int
    weakest: int
    weak_checks: int
    weak_first_v: float
    weak_last_v: float
    own: int
    own_checks: int
    own_since_day: float


@lru_cache(maxsize=4096)
def _date(day: int) -> str:
    when = EPOCH + timedelta(days=day)
    return f"{when.day} {when:%b %Y}"


def date_of(day: float) -> str:
    """Date of a day since 1970-01-01, UTC, as people write it."""
    return _date(math.floor(day))


def seen(packs: Histories, found: Evidence, since_day: Floats) -> list[Seen]:
    """What is seen of each pack; `found` has one mark for each of them. since_day (n,)"""
    row = np.maximum(found.last, 0)
    none = np.zeros(packs.size)
    columns = (
        found.checks,
        since_day,
        packs.spread_v[row] if packs.days.size else none,
        packs.limit_v,
        evidence.floors_v(packs.positions, packs.limit_v),
        packs.days[row] if packs.days.size else none,
        packs.contact_day,
        *_counted(packs, found),
        *_weakest(packs, found.last),
        *_own(packs, found),
    )
    nouns = [_noun(packs.names[group]) for group in packs.group.tolist()]
    return [Seen(*row) for row in zip(nouns, *(column.tolist() for column in columns), strict=True)]


def _counted(packs: Histories, found: Evidence) -> tuple[Counts, Counts]:
    """Checks of the present build at the floor or below, and of unknown temperature. (n,), (n,)"""
    mark, row = segments.spread_out(found.last + 1 - found.checks, found.last + 1)
    low = packs.spread_v[row] <= evidence.floors_v(packs.positions, packs.limit_v)[mark]
    cool = np.isnan(packs.temperature_c[row])
    return (
        np.bincount(mark[low], minlength=packs.size),
        np.bincount(mark[cool], minlength=packs.size),
    )


def _weakest(packs: Histories, last: Counts) -> tuple[Counts, Counts, Floats, Floats]:
    """The weakest position, how often it was told since renewed, its first and last. (n,) each"""
    position = evidence.weakest_positions(packs, last)
    pack = np.flatnonzero(position)
    checks, first, newest = np.zeros(packs.size, dtype=np.int_), *np.zeros((2, packs.size))
    start = evidence.position_starts(packs, pack, packs.renewal_edges[pack + 1] - 1)
    start = start[np.arange(pack.size), position[pack] - 1]
    which, row = segments.spread_out(packs.check_edges[pack], packs.check_edges[pack + 1])
    below = packs.deviation_v[row, position[pack][which] - 1]
    told = (packs.days[row] >= start[which]) & np.isfinite(below)
    which, below = which[told], below[told]
    count = np.bincount(which, minlength=pack.size)
    some, ends = np.flatnonzero(count), np.cumsum(count)
    checks[pack] = count
    first[pack[some]] = below[(ends - count)[some]]
    newest[pack[some]] = below[ends[some] - 1]
    return position, checks, first, newest


def _own(packs: Histories, found: Evidence) -> tuple[Counts, Counts, Floats]:
    """Position, checks and first day of the older position that is followed. (n,) each"""
    position, checks = np.zeros((2, packs.size), dtype=np.int_)
    start, mark = np.zeros(packs.size), found.own_mark
    position[mark], checks[mark] = found.own_position, found.own_checks
    starts = evidence.position_starts(packs, mark, packs.renewal_edges[mark + 1] - 1)
    start[mark] = starts[np.arange(mark.size), found.own_position - 1]
    return position, checks, start


@lru_cache(maxsize=4096)
def _noun(group: str) -> str:
    """What a position of this series is: the last part of its group's name."""
    level = group.rsplit("/", 1)[-1]
    return level.capitalize() if level in LEVELS else "Position"


def too_little(known: Seen) -> tuple[str, ...]:
    """For a build without two comparable checks."""
    number = "no comparable check" if known.checks == 0 else "only one comparable check"
    told = [
        f"There is {number} since {date_of(known.since_day)}; a trend needs two.",
        "Until then the chance of failing is that of packs of this kind in general.",
    ]
    return tuple(told + _limit(known) + _older(known))


def trend(known: Seen, per_ten_degrees: float, growing: bool) -> tuple[str, ...]:
    """For a build with a trend. per_ten_degrees: effect on the logarithm of the spread."""
    told = [f"Based on {known.checks} comparable checks since {date_of(known.since_day)}."]
    told += _limit(known) + _floor(known)
    if growing:
        told.append("The spread grows faster than a year's use explains.")
    return tuple(told + _weak(known) + _older(known) + _heat(known, per_ten_degrees))


def _limit(known: Seen) -> list[str]:
    """The last reading against the limit."""
    if known.checks == 0:
        return []
    day = date_of(known.day)
    told = [f"On {day} the spread was {known.spread_v:.3f} V; the limit is {known.limit_v:.3f} V."]
    if known.spread_v >= known.limit_v:
        told.append("That is over the limit.")
    if known.contact_day - known.day > OLD_DAYS:
        told.append("The last check is over a year older than the last contact.")
    return told


def _floor(known: Seen) -> list[str]:
    if known.low == 0:
        return []
    floor = f"{known.floor_v:.3f}"
    if known.low < known.checks:
        return [f"Some readings lie below {floor} V, which the meter alone would show."]
    return [f"No reading is above {floor} V, which the meter alone would show."]


def _weak(known: Seen) -> list[str]:
    """The weakest position now, and how it went since it was last renewed."""
    if known.weakest == 0:
        return []
    first, last = known.weak_first_v, known.weak_last_v
    told = f"{known.noun} {known.weakest} is weakest: {last:.3f} V below the middle"
    if known.weak_checks < 2 or math.isclose(first, last, abs_tol=5e-4):
        return [f"{told}."]
    if first <= 0.0:
        return [f"{told}; at its first check it was not low."]
    return [f"{told}, from {first:.3f} V at its first check."]


def _older(known: Seen) -> list[str]:
    """A position that the last change left as it was keeps its own trend, and is told."""
    if known.own == 0:
        return []
    return [
        f"{known.noun} {known.own} was not renewed at the last change; "
        f"its own trend runs over {known.own_checks} checks since {date_of(known.own_since_day)}."
    ]


def _heat(known: Seen, per_ten_degrees: float) -> list[str]:
    if known.cool == known.checks:
        return ["The temperature is unknown at every check, so nothing is allowed for it."]
    if known.cool:
        return [
            f"The temperature is unknown at {known.cool} of {known.checks} checks; "
            "they count for less."
        ]
    if abs(per_ten_degrees) < TOLD_TEMPERATURE:
        return []
    return ["What the temperature did to the readings is taken out."]
