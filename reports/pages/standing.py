"""Where a pack stands in the shop: out of service or not, and when it is to be seen next."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from packs.models import Pack, Site
from packs.pages.units import day, distance
from packs.rules.bounds import KM_PER_MILE
from reports.models import Outlook
from reports.pages.figures import EPOCH
from reports.reads.pack_page import PackPage
from reports.reads.rhythm import AFTER, AT_ONCE, FIRST_KM
from reports.reads.vantages import DAY_S
from reports.trends.outlook import NEAR_SHARE

OUT_OF_SERVICE: Mapping[str, str] = {
    Pack.Status.SCRAPPED: "Scrapped.",
    Pack.Status.DISMANTLED: "Dismantled for its parts.",
    Pack.Status.SHELF: "On the shelf, in no car.",
    Pack.Status.LOAN: "Out on loan.",
    Pack.Status.SOLD: "Sold, and no longer ours.",
    Pack.Status.CORE_DUE: "To go back as a core.",
}
FIRST_MI = 600  # as round as FIRST_KM; common practice, no source
GONE = frozenset({Pack.Status.SCRAPPED, Pack.Status.DISMANTLED})


@dataclass(frozen=True)
class Again:
    """When the pack is to be seen next, as a sentence of its own and as what the owner is asked.

    `at_once`: it is not to wait for a day.
    """

    said: str
    asked: str
    at_once: bool = False


def see_again(outlook: Outlook, page: PackPage, site: Site, *, at: datetime) -> Again | None:
    """When the next check is due; nothing for a pack out of service."""
    if page.pack.status in OUT_OF_SERVICE:
        return None
    if outlook.level in AT_ONCE or _near(page):
        here = "while it is in the shop" if page.stay else "as soon as it can be brought"
        return Again(f"now, {here}.", "", at_once=True)
    last = max(_seen(outlook, page), default=None)
    if last is None:
        said = "now; no check is recorded yet."
        return Again(said, "have it checked now", at_once=True)
    how, due = _rhythm(outlook.level, site), EPOCH + timedelta(days=last) + AFTER[outlook.level]
    if due < at:
        said = f"overdue since {day(due)}; it was due {how}."
        return Again(said, f"the next check of this pack has been due since {day(due)}")
    return Again(f"{how}, by {day(due)}.", f"come back by {day(due)} for the next check")


def _near(page: PackPage) -> bool:
    """Whether the last check alone says that it is urgent."""
    last = page.trail.last
    return last is not None and last.spread_v >= NEAR_SHARE * page.trail.limit_v


def _rhythm(level: str, site: Site) -> str:
    if level == "drifting":
        return "within three months of the last check"
    if level == "settled":
        return "at the yearly service"
    first_km = FIRST_MI * KM_PER_MILE if site.distance == "mi" else FIRST_KM
    return f"within about a month or {distance(round(first_km), site)}"


def _seen(outlook: Outlook, page: PackPage) -> Iterator[float]:
    """The days from which the time to the next check runs."""
    yield from (reading.day for reading in page.trail.read)
    if outlook.level == "too_little_data":
        yield from page.trail.change_days
        if page.last_check is not None:
            yield page.last_check.taken_at.timestamp() / DAY_S
