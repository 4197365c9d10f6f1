"""How an outlook is said: levels, frequencies, and a sentence each for the owner and the bench."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from packs.models import Site
from packs.pages.units import day, temperature
from reports.models import Outlook
from reports.models.outlooks import HORIZONS_DAYS
from reports.pages.figures import (
    EPOCH,
    NBSP,
    capital,
    day_number,
    frequency,
    month_number,
    percent,
    rough,
    volts,
)
from reports.reads.pack_page import Bench, PackPage, Reading, Seat, Trail
from reports.reads.vantages import DAY_S
from reports.trends.outlook import DRIFT_PER_YEAR, NEAR_SHARE

STILL_PER_YEAR = 0.02  # growth below this is told as none: less than two readings can show
SAME = 1e-4  # days within which two times are those of one check, for rounding
# A yearly check and a month's grace: one older says nothing of now; common practice, no source.
STALE_CHECK = timedelta(days=395)
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


def chances(outlook: Outlook) -> list[Chance]:
    """The probability of a recorded failure within each horizon."""
    said = {days: float(getattr(outlook, f"p{days}")) for days in HORIZONS_DAYS}
    return [
        Chance(HORIZON_WORDS[days], frequency(share), percent(share))
        for days, share in said.items()
    ]


def for_owner(outlook: Outlook, trail: Trail, *, at: datetime, again: str = "") -> str:
    """What to say to the owner; `again` asks them back, where there is a day for it."""
    share, last = frequency(outlook.p180), trail.last
    old = last is not None and stale(trail, at)
    if outlook.level == "too_little_data":
        seen = "no check" if outlook.checks_used == 0 else "only one check"
        when = f", from {month_number(last.day)}, over a year ago" if last and old else ""
        back = f"; {again}" if again else ""
        if last is not None and last.spread_v >= outlook.limit_v:
            return (
                f"The pack was over the limit of its type at its one check{when}: "
                "have it checked again before the car is relied on. "
                f"Of packs of this kind in general, {share} fail within half a year{back}."
            )
        return (
            f"It is too early to say how this pack is doing: there is {seen} to go by{when}. "
            f"Of packs of this kind in general, {share} fail within half a year{back}."
        )
    begin, advice = OWNER[outlook.level]
    if again:
        advice = f"; {again}{KEENLY.get(outlook.level, '')}"
    if last is not None and old:
        begin, advice = _long_ago(outlook, month_number(last.day), advice)
    return f"{begin} {capital(share)} like this one fail within half a year{advice}."


def _long_ago(outlook: Outlook, month: str, advice: str) -> tuple[str, str]:
    """What an old check still allows to be said, and the advice that goes with it."""
    if outlook.level == "over_limit":
        said = f"The pack was over the limit of its type at its last check, in {month}."
        return said, advice
    said = f"The last check is from {month}, too long ago to say how the pack is doing now."
    return said, "; have it checked"


OWNER: Mapping[str, tuple[str, str]] = {
    "settled": ("The pack is settled: its parts keep together.", ""),
    "drifting": (
        "The pack is drifting: its parts no longer pull evenly.",
        "; have the next check on time, and do not wait for a warning light",
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


# What goes with the day of the next check.
KEENLY: Mapping[str, str] = {"drifting": ", and do not wait for a warning light"}


def for_bench(outlook: Outlook, trail: Trail, bench: Bench | None, *, at: datetime) -> str:
    """What a technician wants first: the spread against its limit, and the weakest."""
    spread, weakest = _spread(outlook, trail, at), _weakest(bench)
    if not weakest:
        return spread
    if ". " in spread:
        return f"{spread} {capital(weakest)}."
    return f"{spread.removesuffix('.')}; {weakest}."


def _weakest(bench: Bench | None) -> str:
    weakest = None if bench is None else bench.weakest
    if bench is None or weakest is None or weakest.off_v is None:
        return ""
    return (
        f"{place_name(bench, weakest)} is weakest, "
        f"{volts(-weakest.off_v)} below the middle on {day_number(bench.day)}"
    )


def pace(outlook: Outlook, trail: Trail, *, at: datetime) -> str:
    """How the spread grows, and when it reaches the limit; nothing where that is not known."""
    said = [] if stale(trail, at) else [_growth(outlook.growth_per_year, trail)]
    if outlook.level == "over_limit" or not stale(trail, at):
        said.append(_limit_day(outlook, at.date()))
    told = outlook.level != "too_little_data" and outlook.spread_now_v is not None
    return " ".join(part for part in said if part) if told else ""


def place_name(bench: Bench, seat: Seat) -> str:
    """A position by its number; a block with the modules it holds."""
    named = f"{LEVEL_NOUN[bench.level]} {seat.position}"
    if bench.level != "block":
        return named
    first, last = int(seat.first) + 1, int(seat.last)
    return f"{named} (module {first})" if first == last else f"{named} (modules {first}–{last})"


def stale(trail: Trail, at: datetime) -> bool:
    """Whether the last comparable check is too old to speak of now."""
    last = trail.last
    return last is not None and at - (EPOCH + timedelta(days=last.day)) > STALE_CHECK


def by_old_trend(outlook: Outlook, trail: Trail, *, at: datetime) -> bool:
    """Whether the level rests on the trend from an old check, and not on a measurement."""
    return outlook.level not in ("too_little_data", "over_limit") and stale(trail, at)


def _spread(outlook: Outlook, trail: Trail, at: datetime) -> str:
    if outlook.spread_now_v is None:
        return f"No spread to compare yet; the limit is {volts(outlook.limit_v)}."
    last = trail.last
    if last is not None and (
        outlook.level == "too_little_data" or stale(trail, at) or fell_short(outlook)
    ):
        cautions = _cautions(outlook, last.spread_v, old=stale(trail, at))
        return " ".join([at_last_check(outlook, trail), *cautions])
    return (
        f"Spread now about {volts(outlook.spread_now_v)} {conditions(outlook)}"
        f"{_measured(outlook.spread_now_v, last)}, limit {volts(outlook.limit_v)}."
    )


def fell_short(outlook: Outlook) -> bool:
    """Whether a check was over the limit, and the trend through all of them is not."""
    now_v = outlook.spread_now_v
    return outlook.level == "over_limit" and now_v is not None and now_v < outlook.limit_v


def _measured(now_v: float, last: Reading | None) -> str:
    """What the last check read, where the trend has moved on from it by what can be seen."""
    if last is None or volts(last.spread_v) == volts(now_v):
        return ""
    return f" ({volts(last.spread_v)} at the check of {day_number(last.day)})"


def at_last_check(outlook: Outlook, trail: Trail) -> str:
    """What was measured last, and nothing of now."""
    last = trail.last
    if last is None:
        return "No check since the last change can be compared."
    which = "the one check" if outlook.level == "too_little_data" else "the last check"
    return (
        f"Spread {volts(last.spread_v)} {conditions(outlook)} at {which}, {day_number(last.day)}; "
        f"limit {volts(outlook.limit_v)}."
    )


def _cautions(outlook: Outlook, last_v: float, *, old: bool) -> Iterator[str]:
    """What a single or an old check already says, and what it no longer does."""
    near_v = NEAR_SHARE * outlook.limit_v
    if last_v >= outlook.limit_v:
        yield "That is over the limit."
    elif last_v >= near_v:
        yield "That is near the limit already."
    if old and last_v < outlook.limit_v:
        near = outlook.level == "near_limit" or max(last_v, outlook.spread_now_v or 0.0) >= near_v
        grown = "be over the limit by now" if near else "have grown since"
        yield f"It may {grown}; check before saying more."


def conditions(outlook: Outlook) -> str:
    """Under which conditions the spread is told."""
    if outlook.series.startswith("load"):
        return f"under load at {outlook.reference_load_a:g}{NBSP}A"
    return "at rest"


def figures(outlook: Outlook, page: PackPage, *, at: datetime) -> str:
    """Why one check is told by more than one spread, where what can be seen differs."""
    last, check, now_v = page.trail.last, page.last_check, outlook.spread_now_v
    if last is None or check is None or abs(check.taken_at.timestamp() / DAY_S - last.day) > SAME:
        return ""
    shown = {"as read": volts(check.spread_v)}
    if check.condition == "load":
        shown[f"brought to {outlook.reference_load_a:g}{NBSP}A"] = volts(last.spread_v)
    if now_v is not None and outlook.level != "too_little_data" and not stale(page.trail, at):
        shown["by the trend now"] = volts(now_v)
    if len(set(shown.values())) == 1:
        return ""
    told = ", ".join(f"{figure} {what}" for what, figure in shown.items())
    return f"One check, more than one figure: the spread of {day_number(last.day)} is {told}."


def as_read(page: PackPage, site: Site) -> str:
    """Why the figures of the history are not those of the chart, where they are not."""
    if page.trail.condition != "load":
        return ""
    kind = page.pack.pack_type
    warmth = temperature(kind.reference_temperature_c, site)
    return (
        "Checks stand here as they were read. Those under load are brought to "
        f"{kind.reference_load_a:g}{NBSP}A and {warmth} for the chart and the answer, so that they "
        "compare."
    )


def _growth(per_year: float | None, trail: Trail) -> str:
    if per_year is None:
        return ""
    if per_year < -STILL_PER_YEAR:
        return "It is shrinking."
    if per_year < STILL_PER_YEAR:
        return "It is not growing."
    figure = f"{per_year * 100:.0f}{NBSP}% a year"
    if not has_grown(trail):
        return (
            f"It is expected to grow about {figure}, as packs of this kind do; "
            "its own checks show no growth yet."
        )
    ageing = ", as a year's use may bring" if per_year <= DRIFT_PER_YEAR else ""
    return f"It grows {figure}{ageing}."


def has_grown(trail: Trail) -> bool:
    """Whether the last check of this build stands above its first by more than the noise."""
    build = trail.build
    return bool(build) and build[-1].spread_v - build[0].spread_v > trail.floor_v


def _limit_day(outlook: Outlook, now: date) -> str:
    told = limit_days(outlook)
    if outlook.level == "over_limit":
        return (
            "" if told is None or told[0] is None else f"Over the limit since about {day(told[0])}."
        )
    early, middle, late = told or (None, None, None)
    if past_by_trend(outlook) or (middle is not None and middle <= now):
        return "By its trend it is probably there already; no check has shown it yet."
    if early is None:
        return "At this pace the limit is not reached for years."
    begun = "now" if early <= now else rough(early, now)
    if middle is None:
        return f"The limit may be reached from {begun} on, more likely years later."
    until = "some day beyond twenty years" if late is None else rough(late, now)
    return (
        f"The limit is most likely reached around {rough(middle, now)}; "
        f"likely range (8 in 10) {begun} to {until}."
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


def learnt_from(outlook: Outlook) -> str:
    """What the estimate rests on beside the pack's own records."""
    through = outlook.fit.facts_through
    if through <= EPOCH:
        return "what is assumed of packs in general; no fleet has been learnt from yet"
    return f"what the fleet had shown by {day(through)}"


def reasons(outlook: Outlook, bench: Bench | None) -> list[str]:
    """Why, with the modules of the block that is named."""
    weakest = None if bench is None else bench.weakest
    if bench is None or weakest is None:
        return list(outlook.reasons)
    short = f"{capital(LEVEL_NOUN[bench.level])} {weakest.position} is weakest"
    full = f"{capital(place_name(bench, weakest))} is weakest"
    return [reason.replace(short, full) for reason in outlook.reasons]
