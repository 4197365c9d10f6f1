"""The promises of the shop for a pack, in words: what is covered until when, and what is not."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from packs.models import Claim, Site
from packs.pages.units import day, distance
from packs.reads.warranties import Term
from reports.reads.pack_page import Cover, PackPage
from reports.reads.pack_records import Claimed


@dataclass(frozen=True)
class Covered:
    """What to say of the cover: the warranties that run, and the others with how they stand.

    `claim` is what is to be thought of while the car is in the shop; `claimed` where a claim on
    this visit is recorded.
    """

    running: tuple[str, ...]
    others: tuple[str, ...]
    claim: str
    claimed: bool


def covered(page: PackPage, site: Site, today: date) -> Covered:
    running = [row for row in page.covers if row.term.state == "running"]
    return Covered(
        running=tuple(_running(row, site) for row in running) or (_nothing(page, site, today),),
        others=tuple(_other(row, site) for row in page.covers if row not in running),
        claim=_claim(page, running),
        claimed=bool(_claims_here(page, running)),
    )


def _running(row: Cover, site: Site) -> str:
    """What a warranty covers until when, and what it does not."""
    promise = row.warranty
    what = promise.covers or f"the {promise.get_repair_kind_display().lower()}"
    excluded = f"; not covered: {promise.excludes}" if promise.excludes else ""
    labour = "Labour is covered." if promise.labour else "Parts only, not labour."
    return f"Covered: {what}, {_until(row, site)}{excluded}. {labour}"


def _nothing(page: PackPage, site: Site, today: date) -> str:
    """That no warranty runs, and how the last one ended."""
    ended = [row.term for row in page.covers if row.term.state == "ended"]
    if not ended:
        return "Not covered: no warranty of ours runs for this pack."
    return f"Not covered: our last warranty ended {_ended(ended[0], site, today)}."


def _ended(term: Term, site: Site, today: date) -> str:
    """The day that ended it, if that has passed; else it was the odometer."""
    if term.ends_on is not None and term.ends_on < today:
        return f"on {day(term.ends_on)}"
    return f"at {distance(term.ends_km, site)}"


def _other(row: Cover, site: Site) -> str:
    kind = row.warranty.get_repair_kind_display().capitalize()
    state = "has not begun; it runs" if row.term.state == "not_begun" else "ended; it ran"
    return f"{kind}: {state} from {day(row.warranty.starts_on)} {_until(row, site)}."


def _until(row: Cover, site: Site) -> str:
    """By day and by odometer, whichever comes first."""
    ends = list(_each_end(row, site))
    first = ", whichever comes first" if len(ends) > 1 else ""
    return f"until {' or '.join(ends)}{first}"


def _each_end(row: Cover, site: Site) -> Iterator[str]:
    term, promised_km = row.term, row.warranty.km
    if term.ends_on is not None:
        yield day(term.ends_on)
    if term.ends_km is not None:
        yield distance(term.ends_km, site)
    elif promised_km is not None:
        yield f"{distance(promised_km, site)} driven, the odometer at its end not being known"


def _claim(page: PackPage, running: Sequence[Cover]) -> str:
    """What the warranties that run mean for the visit that is open."""
    if page.stay is None or not running:
        return ""
    here = _claims_here(page, running)
    if here:
        return CLAIMED[here[-1].decision]
    return (
        "It is in the shop and a warranty runs. If the fault is in what that covers, this is a "
        "claim: settle it before work is charged."
    )


def _claims_here(page: PackPage, running: Sequence[Cover]) -> list[Claimed]:
    """What was claimed on the visit that is open."""
    if page.stay is None:
        return []
    return [one for row in running for one in row.claims if one.visit_id == page.stay.pk]


CLAIMED = {
    Claim.Decision.OPEN.value: "A claim is open on this visit, and not yet decided.",
    Claim.Decision.ACCEPTED.value: "The claim on this visit was accepted.",
    Claim.Decision.REFUSED.value: "The claim on this visit was refused.",
}
