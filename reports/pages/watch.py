"""The manager's look at the register itself: does it keep up, and what is under way."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import formats, timezone

from packs.pages.doors import page
from packs.pages.units import moment
from reports.models import FleetWork
from reports.pages.counting import counted, day_of, overdue_by
from reports.pages.figures import capital
from reports.reads import watching
from reports.reads.watching import Fitted, Watch

KINDS: Mapping[str, str] = {
    FleetWork.Kind.FIT: "fit",
    FleetWork.Kind.OUTLOOKS: "outlooks anew",
}


@dataclass(frozen=True)
class WorkLine:
    """A piece of work as a line of the table; `state` is a word, `ended` where it has."""

    what: str
    as_of: str
    asked: str
    progress: str
    packs: int
    state: str
    ended: str
    error: str


@page("watch")
def watch(request: HttpRequest) -> HttpResponse:
    """The answer in a sentence, then what is late, then the figures, then the history."""
    now = timezone.now()
    seen = watching.watch(at=now)
    context = {
        "now": now,
        "answer": _answer(seen, now),
        "todo": list(_to_do(seen, now)),
        "seen": seen,
        "waited": overdue_by(seen.owed.oldest, now) if seen.owed.oldest else "",
        "under_way": [_line(work) for work in seen.under_way],
        "past": [_line(work) for work in seen.works if work.finished_at is not None],
    }
    return render(request, "reports/watch.html", context)


def _answer(seen: Watch, now: datetime) -> str:
    late = watching.late(seen, at=now)
    fit = _last_fit(seen.fits, now)
    if late:
        return f"{capital(' and '.join(_late_words(seen, now, late)))}; {fit}."
    if seen.owed.packs or seen.under_way:
        return f"{capital(_working(seen))}; {fit}."
    return f"Everything is worked out; {fit}."


def _last_fit(made: tuple[Fitted, ...], now: datetime) -> str:
    if not made:
        return "the fleet was not fitted yet"
    when = made[0].fit.fitted_at
    clock = formats.time_format(timezone.localtime(when), "TIME_FORMAT")
    return f"the last fit was {day_of(when, timezone.localdate(now))}, {clock}"


def _late_words(seen: Watch, now: datetime, late: tuple[str, ...]) -> Iterator[str]:
    said = {
        "owed": _waiting(seen, now),
        "work": f"{_working_on(seen)} not done after an hour or more",
        "failed": "the newest try of a fit failed",
        "fit": "a fit is due and not begun",
    }
    return (said[name] for name in late)


def _waiting(seen: Watch, now: datetime) -> str:
    waits = "waits" if seen.owed.packs == 1 else "wait"
    packs, oldest = counted(seen.owed.packs, "pack"), seen.owed.oldest or now
    which = "" if seen.owed.packs == 1 else "the oldest "
    return f"{packs} {waits} for an outlook, {which}for {overdue_by(oldest, now)}"


def _working_on(seen: Watch) -> str:
    return f"{counted(len(seen.under_way), 'piece of fleet work', 'pieces of fleet work')} still"


def _working(seen: Watch) -> str:
    """What is being done now, in good time."""
    parts = []
    if seen.owed.packs:
        parts.append(f"{counted(seen.owed.packs, 'outlook is', 'outlooks are')} being worked out")
    for work in seen.under_way:
        parts.append(f"{_what(work)} is under way, {work.done} of {work.shards} shards done")
    return " and ".join(parts)


def _what(work: FleetWork) -> str:
    named = "a fit" if work.kind == FleetWork.Kind.FIT else "the making of outlooks anew"
    return named if work.as_of is None else f"{named} as of {moment(work.as_of)}"


def _to_do(seen: Watch, now: datetime) -> Iterator[str]:
    """What a person can do about what is late."""
    late = watching.late(seen, at=now)
    if "owed" in late or "fit" in late:
        yield (
            "See that something sweeps: the program that serves, a worker with its beat, or "
            "“manage.py sweep”."
        )
    if "work" in late:
        yield "The same command begun again goes on from there, and takes a hand in it."
    if "failed" in late:
        yield "Its reason stands in the log of who did it. It is tried again every hour."


def _line(work: FleetWork) -> WorkLine:
    state = "under way" if work.finished_at is None else "failed" if work.error else "done"
    return WorkLine(
        what=KINDS[work.kind],
        as_of="" if work.as_of is None else moment(work.as_of),
        asked=moment(work.asked_at),
        progress=f"{work.done} of {work.shards}",
        packs=work.packs,
        state=state,
        ended="" if work.finished_at is None else moment(work.finished_at),
        error=work.error,
    )
