"""The promises that run for a pack, in words."""

from collections.abc import Iterator
from dataclasses import dataclass

from packs.models import Site, Warranty
from packs.pages.units import distance
from packs.reads.warranties import Term
from reports.pages.figures import day

STATES = {"running": "runs", "not_begun": "has not begun; runs", "ended": "ended; ran"}


@dataclass(frozen=True)
class Cover:
    """One warranty: for what, in which state, until when."""

    kind: str
    running: bool
    state: str
    covers: str
    excludes: str
    labour: bool


def covers(promises: tuple[tuple[Warranty, Term], ...], site: Site) -> list[Cover]:
    """The running ones first."""
    told = [
        Cover(
            kind=warranty.get_repair_kind_display().capitalize(),
            running=term.state == "running",
            state=f"{STATES[term.state]} {_ends(warranty, term, site)}",
            covers=warranty.covers,
            excludes=warranty.excludes,
            labour=warranty.labour,
        )
        for warranty, term in promises
    ]
    return sorted(told, key=lambda one: not one.running)


def _ends(warranty: Warranty, term: Term, site: Site) -> str:
    """Until when, by day and by odometer, whichever comes first."""
    ends = list(_each_end(warranty, term, site))
    first = ", whichever comes first" if len(ends) > 1 else ""
    begun = "" if term.state == "running" else f"from {day(warranty.starts_on)} "
    return f"{begun}until {' or '.join(ends)}{first}"


def _each_end(warranty: Warranty, term: Term, site: Site) -> Iterator[str]:
    if term.ends_on is not None:
        yield day(term.ends_on)
    if term.ends_km is not None:
        yield distance(term.ends_km, site)
    elif warranty.km is not None:
        yield f"{distance(warranty.km, site)} driven, the odometer at its end not being known"
