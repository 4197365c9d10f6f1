"""How an outlook is said: levels, frequencies, and a sentence each for the owner and the bench."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

from packs.rules.pairing import PAIR_WITHIN_S
from reports.models import Outlook
from reports.models.outlooks import HORIZONS_DAYS
from reports.reads.pack_page import Bench, PackPage, Seat, Trail
from reports.trends.outlook import DRIFT_PER_YEAR

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
STILL_PER_YEAR = 0.02  # growth below this is told as none: less than two readings can show
OLD_CHECK = timedelta(days=180)  # a last check older than this is told; common practice, no source
HORIZON_WORDS = {30: "a month", 90: "three months", 180: "half a year", 365: "a year"}
LEVEL_NOUN = {"block": "block", "module": "module", "cell": "cell"}
CONDITION_WORDS = {"rest": "at rest", "load": "under load", "charge": "on charge"}


@dataclass(frozen=True)
class Level:
    """A level by word; `shape` names its drawing and its colour in the sense of ISO 22324."""

    word: str
    shape: str


@dataclass(frozen=True)
class Chance:
    """A probability of failing within a time, in words and as a figure."""

    within: str
    words: str
    figure: str


LEVELS: Mapping[str, Level] = {
    "too_little_data": Level("Too little data", "unknown"),
    "settled": Level("Settled", "settled"),
    "drifting": Level("Drifting", "drifting"),
    "near_limit": Level("Near the limit", "near"),
    "over_limit": Level("Over the limit", "over"),
}


def frequency(share: float) -> str:
    """A probability as so many in 10, or in 100 where it is small."""
    if share < 0.01:
        return "fewer than 1 in 100"
    if share < 0.095:
        return f"about {round(share * 100)} in 100"
    if share >= 0.95:
        return "nearly all"
    return f"about {round(share * 10)} in 10"


def percent(share: float) -> str:
    if share < 0.01:
        return "under 1 %"
    return "over 99 %" if share > 0.99 else f"{share * 100:.0f} %"


def chances(outlook: Outlook) -> list[Chance]:
    """The probability of a recorded failure within each horizon."""
    said = {days: float(getattr(outlook, f"p{days}")) for days in HORIZONS_DAYS}
    return [
        Chance(HORIZON_WORDS[days], frequency(share), percent(share))
        for days, share in said.items()
    ]


def day(when: date | datetime) -> str:
    return f"{when.day} {when:%B %Y}"


def day_number(days: float) -> str:
    """A day since 1970, as text."""
    return day(EPOCH + timedelta(days=days))


def volts(value: float) -> str:
    return f"{value:.2f} V"


def for_owner(outlook: Outlook) -> str:
    """What to say to the owner."""
    share = frequency(outlook.p180)
    if outlook.level == "too_little_data":
        seen = "no check" if outlook.checks_used == 0 else "only one check"
        return (
            f"It is too early to say how this pack is doing: there is {seen} to go by. "
            f"Of packs of this kind in general, {share} fail within half a year."
        )
    begin, advice = OWNER[outlook.level]
    return f"{begin} {_capital(share)} like this one fail within half a year{advice}."


OWNER: Mapping[str, tuple[str, str]] = {
    "settled": ("The pack is settled: its parts keep together.", ""),
    "drifting": (
        "The pack is drifting: its parts grow apart.",
        "; book the next check now, and do not wait for a warning light",
    ),
    "near_limit": (
        "The pack is near the limit of its type.",
        "; plan the repair now, while there is a choice of day",
    ),
    "over_limit": (
        "The pack is over the limit of its type.",
        "; repair it before the car is relied on",
    ),
}


def for_bench(outlook: Outlook, bench: Bench | None) -> str:
    """What a technician wants first: the spread, its limit, its growth, and the weakest."""
    said = [_spread(outlook)]
    if outlook.level != "too_little_data":
        said.append(_limit_day(outlook))
    weakest = None if bench is None else bench.weakest
    if bench is not None and weakest is not None and weakest.off_v is not None:
        said.append(
            f"{_capital(LEVEL_NOUN[bench.level])} {weakest.position} is weakest, "
            f"{volts(-weakest.off_v)} below the middle on {day_number(bench.day)}."
        )
    return " ".join(part for part in said if part)


def _spread(outlook: Outlook) -> str:
    if outlook.spread_now_v is None:
        return f"No spread to compare yet; the limit is {volts(outlook.limit_v)}."
    how = "Spread now about" if outlook.level != "too_little_data" else "Spread at the one check"
    condition = conditions(outlook)
    growth = _growth(outlook.growth_per_year)
    return (
        f"{how} {volts(outlook.spread_now_v)} {condition}, "
        f"limit {volts(outlook.limit_v)}{growth}."
    )


def conditions(outlook: Outlook) -> str:
    """Under which conditions the spread is told."""
    if outlook.series.startswith("load"):
        return f"under load at {outlook.reference_load_a:g} A"
    return "at rest"


def _growth(per_year: float | None) -> str:
    if per_year is None:
        return ""
    if per_year < -STILL_PER_YEAR:
        return ", and shrinking"
    if per_year < STILL_PER_YEAR:
        return ", and not growing"
    ageing = ", as a year's use may bring" if per_year <= DRIFT_PER_YEAR else ""
    return f", and growing {per_year * 100:.0f} % a year{ageing}"


def _limit_day(outlook: Outlook) -> str:
    told = limit_days(outlook)
    if outlook.level == "over_limit":
        return "" if told is None or told[0] is None else f"Over it since {day(told[0])}."
    if told is None or told[0] is None:
        return "At this pace the limit is not reached for years."
    early, middle, late = told
    if middle is None:
        return f"The limit is reached on {day(early)} at the earliest, more likely years later."
    until = "later than twenty years" if late is None else day(late)
    return (
        f"The limit is most likely reached around {day(middle)}; "
        f"8 times in 10 between {day(early)} and {until}."
    )


def limit_days(outlook: Outlook) -> tuple[date | None, date | None, date | None] | None:
    """The days by which the limit is reached with a probability of 10, 50 and 90 %."""
    told = outlook.limit_reached_on
    if told is None:
        return None
    early, middle, late = (
        None if told[key] is None else date.fromisoformat(told[key]) for key in ("p10", "p50", "p90")
    )
    return early, middle, late


def not_known(outlook: Outlook, page: PackPage, *, at: datetime) -> Iterator[str]:
    """What the register can not say of this pack, plainly."""
    if page.not_comparable is not None:
        yield f"The last check is kept but not compared: {page.not_comparable}."
    if page.bench is not None and page.bench.unread:
        numbers = ", ".join(str(number) for number in page.bench.unread)
        yield f"Nothing was read at position {numbers}."
    if outlook.level != "too_little_data" and page.bench is not None:
        age = at - (EPOCH + timedelta(days=page.bench.day))
        if age > OLD_CHECK:
            yield f"The last comparable check is {age.days // 30} months old; much may have changed."
    if page.checks and page.trail.condition == "rest":
        yield "No two checks under load compare; voltages at rest say little about a worn module."


def would_settle(outlook: Outlook) -> str | None:
    """The check that would turn too little data into an answer."""
    if outlook.level != "too_little_data":
        return None
    needed = "Two checks some weeks apart" if outlook.checks_used == 0 else "One more check"
    minutes = int(PAIR_WITHIN_S // 60)
    return (
        f"{needed} would settle it: all voltages under a steady load near "
        f"{outlook.reference_load_a:g} A, and at rest within {minutes} minutes of it."
    )


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


@dataclass(frozen=True)
class TrailRow:
    """One line of the table behind the chart of spreads."""

    day: str
    condition: str
    spread: str
    begins: bool


@dataclass(frozen=True)
class SeatRow:
    """One line of the table behind the drawing of the pack."""

    position: int
    block: int
    tags: str
    off: str
    remarks: str


def trail_sentence(outlook: Outlook, trail: Trail) -> str:
    """The chart of spreads, for who does not see it."""
    if not trail.read:
        return "No check can be compared yet, so there is no trend to draw."
    first, last = trail.read[0], trail.read[-1]
    changes = len(trail.change_days)
    told = (
        f"Spread {conditions(outlook)}: {volts(last.spread_v)} on {day_number(last.day)}; "
        f"the limit is {volts(trail.limit_v)}."
    )
    if len(trail.read) > 1:
        begun = f"{volts(first.spread_v)} on {day_number(first.day)}"
        told = (
            f"Spread {conditions(outlook)}, {len(trail.read)} checks: from {begun} to "
            f"{volts(last.spread_v)} on {day_number(last.day)}; the limit is {volts(trail.limit_v)}."
        )
    if changes == 0:
        return told
    when = "then" if changes > 1 else "that day"
    days = ", ".join(day_number(changed) for changed in trail.change_days)
    return f"{told} Modules or joints were changed on {days}; the trend begins again {when}."


def trail_rows(trail: Trail) -> list[TrailRow]:
    """All readings by day, newest first, each telling whether it begins a build."""
    both = [(reading, trail.condition) for reading in trail.read]
    both += [(reading, "rest") for reading in trail.beside]
    both.sort(key=lambda one: one[0].day)
    builds = [-1 if not both else both[0][0].build, *(reading.build for reading, _ in both)]
    rows = [
        TrailRow(
            day_number(reading.day),
            CONDITION_WORDS[condition],
            f"{reading.spread_v:.3f}",
            begins=reading.build != before,
        )
        for (reading, condition), before in zip(both, builds, strict=False)
    ]
    return rows[::-1]


def bench_sentence(bench: Bench) -> str:
    """The drawing of the pack, for who does not see it."""
    how = CONDITION_WORDS[bench.condition]
    brought = ", brought to the reference current" if bench.at_reference else ""
    told = f"The check {how} on {day_number(bench.day)}{brought}: "
    weakest = bench.weakest
    if weakest is None or weakest.off_v is None:
        return f"{told}nothing was read."
    noun = LEVEL_NOUN[bench.level]
    return (
        f"{told}{noun} {weakest.position} is weakest, "
        f"{volts(-weakest.off_v)} below the middle of {len(bench.seats)}."
    )


def bench_rows(bench: Bench) -> list[SeatRow]:
    return [
        SeatRow(
            position=seat.position,
            block=seat.block,
            tags=", ".join(seat.tags),
            off="not read" if seat.off_v is None else f"{seat.off_v:+.3f}".replace("-", "−"),
            remarks="; ".join(_remarks(seat, bench)),
        )
        for seat in bench.seats
    ]


def _remarks(seat: Seat, bench: Bench) -> Iterator[str]:
    if seat is bench.weakest:
        yield "weakest"
    if seat.turned:
        yield "turned the other way round"
    if seat.renewed_day is not None:
        yield f"renewed {day_number(seat.renewed_day)}"
