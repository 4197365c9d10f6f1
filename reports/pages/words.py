"""How an outlook is said: levels, frequencies, and a sentence each for the owner and the bench."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

from packs.rules.pairing import PAIR_WITHIN_S
from reports.models import Outlook
from reports.models.outlooks import HORIZONS_DAYS
from reports.reads.pack_page import Bench, PackPage
from reports.trends.outlook import DRIFT_PER_YEAR

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
STILL_PER_YEAR = 0.02  # growth below this is told as none: less than two readings can show
NEAR = timedelta(days=90)  # to here a forecast is told by the day
OLD_CHECK = timedelta(days=180)  # a last check older than this is told; common practice, no source
NBSP = "\u00a0"  # keeps a unit beside its figure
HORIZON_WORDS = {30: "a month", 90: "three months", 180: "half a year", 365: "a year"}
LEVEL_NOUN = {"block": "block", "module": "module", "cell": "cell"}
CONDITION_WORDS = {"rest": "at rest", "load": "under load", "charge": "on charge"}


@dataclass(frozen=True)
class Level:
    """A level by word; `shape` names its drawing and its colour in the sense of ISO 22324."""

    word: str
    shape: str


@dataclass(frozen=True)
class Suspect:
    """A part under suspicion: where, why, and what would settle it."""

    where: str
    why: str
    settle: str


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
        return f"under 1{NBSP}%"
    return f"over 99{NBSP}%" if share > 0.99 else f"{share * 100:.0f}{NBSP}%"


def chances(outlook: Outlook) -> list[Chance]:
    """The probability of a recorded failure within each horizon."""
    said = {days: float(getattr(outlook, f"p{days}")) for days in HORIZONS_DAYS}
    return [
        Chance(HORIZON_WORDS[days], frequency(share), percent(share))
        for days, share in said.items()
    ]


def day(when: date | datetime) -> str:
    return f"{when.day} {when:%B %Y}"


def rough(when: date, now: date) -> str:
    """A day as finely as it can be meant: near ones by the day, far ones by the month."""
    return day(when) if when - now <= NEAR else f"{when:%B %Y}"


def day_number(days: float) -> str:
    """A day since 1970, as text."""
    return day(EPOCH + timedelta(days=days))


def short_day(days: float) -> str:
    """The same for a table."""
    when = EPOCH + timedelta(days=days)
    return f"{when.day} {when:%b %Y}"


def volts(value: float) -> str:
    return f"{value:.2f}{NBSP}V"


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
        f"{how} {volts(outlook.spread_now_v)} {condition}, limit {volts(outlook.limit_v)}{growth}."
    )


def conditions(outlook: Outlook) -> str:
    """Under which conditions the spread is told."""
    if outlook.series.startswith("load"):
        return f"under load at {outlook.reference_load_a:g}{NBSP}A"
    return "at rest"


def _growth(per_year: float | None) -> str:
    if per_year is None:
        return ""
    if per_year < -STILL_PER_YEAR:
        return ", and shrinking"
    if per_year < STILL_PER_YEAR:
        return ", and not growing"
    ageing = ", as a year's use may bring" if per_year <= DRIFT_PER_YEAR else ""
    return f", and growing {per_year * 100:.0f}{NBSP}% a year{ageing}"


def _limit_day(outlook: Outlook) -> str:
    told = limit_days(outlook)
    if outlook.level == "over_limit":
        return "" if told is None or told[0] is None else f"Over it since {day(told[0])}."
    if past_by_trend(outlook):
        return (
            "By the trend it has passed the limit since its last check: measure before it leaves."
        )
    early, middle, late = told or (None, None, None)
    now = outlook.as_of.date()
    if early is None:
        return "At this pace the limit is not reached for years."
    if middle is None:
        return f"The limit may be reached from {rough(early, now)} on, more likely years later."
    until = "some day beyond twenty years" if late is None else rough(late, now)
    return (
        f"The limit is most likely reached around {rough(middle, now)}; "
        f"8 times in 10 between {rough(early, now)} and {until}."
    )


def past_by_trend(outlook: Outlook) -> bool:
    """Whether only the trend, and no check, says that the limit is passed."""
    now = outlook.spread_now_v
    return outlook.level != "over_limit" and now is not None and now >= outlook.limit_v


def limit_days(outlook: Outlook) -> tuple[date | None, date | None, date | None] | None:
    """The days by which the limit is reached with a probability of 10, 50 and 90 %."""
    told = outlook.limit_reached_on
    if told is None:
        return None
    early, middle, late = (
        None if told[key] is None else date.fromisoformat(told[key])
        for key in ("p10", "p50", "p90")
    )
    return early, middle, late


def not_known(outlook: Outlook, page: PackPage, *, at: datetime) -> Iterator[str]:
    """What the register can not say of this pack, plainly."""
    if page.not_comparable is not None:
        yield f"The last check is kept but not compared: {page.not_comparable}."
    if page.bench is not None and page.bench.unread:
        numbers = ", ".join(str(number) for number in page.bench.unread)
        noun = LEVEL_NOUN[page.bench.level]
        yield f"Nothing was read at {noun} {numbers} in the last check."
    if outlook.level != "too_little_data" and page.bench is not None:
        age = at - (EPOCH + timedelta(days=page.bench.day))
        if age > OLD_CHECK:
            months = age.days // 30
            yield f"The last comparable check is {months} months old; much may have changed."
    if page.checks and page.trail.condition == "rest":
        yield "No two checks under load compare; voltages at rest say little about a worn module."


def suspects(page: PackPage) -> list[Suspect]:
    """What the last check points at, before a module is blamed."""
    if page.last_check is None:
        return []
    noun = LEVEL_NOUN[page.last_check.level]
    return [
        Suspect(_numbered(noun, found.positions), found.why, found.settle)
        for found in page.suspicions
    ]


def _numbered(noun: str, positions: tuple[int, ...]) -> str:
    many = "s" if len(positions) > 1 else ""
    return f"{_capital(noun)}{many} {' and '.join(str(number) for number in positions)}"


def learnt_from(outlook: Outlook) -> str:
    """What the estimate rests on beside the pack's own records."""
    through = outlook.fit.facts_through
    if through <= EPOCH:
        return "what is assumed of packs in general; no fleet has been learnt from yet"
    return f"what the fleet had shown by {day(through)}"


def would_settle(outlook: Outlook) -> str | None:
    """The check that would turn too little data into an answer."""
    if outlook.level != "too_little_data":
        return None
    needed = "Two checks some weeks apart" if outlook.checks_used == 0 else "One more check"
    minutes = int(PAIR_WITHIN_S // 60)
    return (
        f"{needed} would settle it: all voltages under a steady load near "
        f"{outlook.reference_load_a:g}{NBSP}A, and at rest within {minutes} minutes of it."
    )


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
