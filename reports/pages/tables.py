"""Each chart again as a sentence and a table, for who does not see it."""

from collections.abc import Iterator
from dataclasses import dataclass

from django.urls import reverse
from django.utils.html import format_html_join
from django.utils.safestring import SafeString

from reports.models import Outlook
from reports.pages.figures import NBSP, day_number, volts
from reports.pages.words import CONDITION_WORDS, conditions, place_name
from reports.pages.work import listed
from reports.reads.pack_page import Bench, Reading, Seat, Trail

FIRST = "first after a change"


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
    tags: SafeString
    off: str
    remarks: str


def trail_sentence(outlook: Outlook, trail: Trail) -> str:
    """The chart of spreads, for who does not see it: how it went since the last change."""
    if not trail.read:
        return "No check can be compared yet, so there is no trend to draw."
    last = trail.read[-1]
    build = [reading for reading in trail.read if reading.build == last.build]
    begun = "" if len(build) == 1 else f"from {_reading(build[0])} to "
    counted = "1 check" if len(build) == 1 else f"{len(build)} checks"
    told = (
        f"Spread {_conditions(outlook, trail)}, {counted}: {begun}{_reading(last)}; "
        f"the limit is {volts(trail.limit_v)}."
    )
    if not trail.change_days:
        return told
    days = listed([day_number(changed) for changed in trail.change_days])
    since = "the trend begins again there"
    if last.build < len(trail.change_days):
        since = "no check since the last change can be compared yet"
    return f"{told} Modules or joints were changed on {days}; {since}."


def trail_table(trail: Trail, *, places: int = 3) -> SafeString:
    """The rows in HTML: a hundred of them take a template a third of the page's time."""
    rows = (
        (row.day, row.condition, row.spread, FIRST * row.begins)
        for row in trail_rows(trail, places)
    )
    line = '<tr><td>{}</td><td>{}</td><td class="n">{}</td><td>{}</td></tr>'
    return format_html_join("", line, rows)


def trail_for_owner(trail: Trail) -> str:
    """The chart for who has never seen one."""
    if not trail.read:
        return "There is no check yet that can be compared, so there is nothing to draw."
    return (
        "Each dot is one check: how far the strongest and the weakest part of the pack lie apart. "
        "Lower is better. The dashed line is the limit for packs of this type."
        + (" At an upright line parts were changed, and it begins again." * bool(trail.change_days))
    )


def _conditions(outlook: Outlook, trail: Trail) -> str:
    """Under which conditions, where those of the checks were brought to one."""
    if trail.condition != "load":
        return conditions(outlook)
    return f"under load, brought to {outlook.reference_load_a:g}{NBSP}A"


def _reading(reading: Reading) -> str:
    return f"{volts(reading.spread_v)} on {day_number(reading.day)}"


def trail_rows(trail: Trail, places: int = 3) -> list[TrailRow]:
    """All readings by day, newest first, each telling whether it begins a build."""
    both = [(reading, trail.condition) for reading in trail.read]
    both += [(reading, "rest") for reading in trail.beside]
    both.sort(key=lambda one: one[0].day)
    builds = [-1 if not both else both[0][0].build, *(reading.build for reading, _ in both)]
    rows = [
        TrailRow(
            day_number(reading.day),
            CONDITION_WORDS[condition],
            f"{reading.spread_v:.{places}f}",
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
    return (
        f"{told}{place_name(bench, weakest)} is weakest, "
        f"{volts(-weakest.off_v)} below the middle of {len(bench.seats)}."
    )


def bench_rows(bench: Bench) -> list[SeatRow]:
    return [
        SeatRow(
            position=seat.position,
            block=seat.block,
            tags=_modules(seat),
            off="not read" if seat.off_v is None else f"{seat.off_v:+.3f}".replace("-", "−"),
            remarks="; ".join(_remarks(seat, bench)),
        )
        for seat in bench.seats
    ]


def _modules(seat: Seat) -> SafeString:
    """The tags of its modules, each leading to the module's page."""
    links = ((reverse("module", args=[tag]), tag) for tag in seat.tags)
    return format_html_join(", ", '<a href="{}">{}</a>', links)


def _remarks(seat: Seat, bench: Bench) -> Iterator[str]:
    if seat is bench.weakest:
        yield "weakest"
    if seat.turned:
        yield "turned the other way round"
    if seat.renewed_day is not None:
        yield f"compared anew since {day_number(seat.renewed_day)}"
