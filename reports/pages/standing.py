"""Where a pack stands in the shop: out of service or not, and when it is to be checked next."""

from collections.abc import Iterator, Mapping
from datetime import datetime, timedelta

from packs.models import Pack, Site
from packs.pages.units import distance
from reports.models import Outlook
from reports.pages.figures import EPOCH
from reports.reads.knowledge import DAY_S
from reports.reads.pack_page import PackPage
from reports.trends.outlook import NEAR_SHARE

OUT_OF_SERVICE: Mapping[str, str] = {
    Pack.Status.SCRAPPED: "Scrapped.",
    Pack.Status.DISMANTLED: "Dismantled for its parts.",
    Pack.Status.SHELF: "On the shelf, in no car.",
    Pack.Status.LOAN: "Out on loan.",
    Pack.Status.SOLD: "Sold, and no longer ours.",
    Pack.Status.CORE_DUE: "To go back as a core.",
}
GONE = frozenset({Pack.Status.SCRAPPED, Pack.Status.DISMANTLED})
AT_ONCE = frozenset({"near_limit", "over_limit"})

# How soon a pack is looked at again; common practice, no source.
FIRST_AFTER, FIRST_KM = timedelta(days=30), 1000
DRIFTING_AFTER = timedelta(days=91)
YEARLY = timedelta(days=365)


def next_check(outlook: Outlook, page: PackPage, site: Site, *, at: datetime) -> str | None:
    """When the next check is due; nothing for a pack out of service."""
    if page.pack.status in OUT_OF_SERVICE:
        return None
    if outlook.level in AT_ONCE or _near(page):
        return "now."
    after, how = _rhythm(outlook.level, site)
    last = max(_seen(outlook, page), default=None)
    if last is None:
        return "now; none is recorded yet."
    due = EPOCH + timedelta(days=last) + after
    if due < at:
        return f"overdue since {due:%B %Y}; it was due {how}."
    return f"{how}, by {due:%B %Y}."


def _near(page: PackPage) -> bool:
    """Whether the last check alone says that it is urgent."""
    last = page.trail.last
    return last is not None and last.spread_v >= NEAR_SHARE * page.trail.limit_v


def _rhythm(level: str, site: Site) -> tuple[timedelta, str]:
    if level == "drifting":
        return DRIFTING_AFTER, "within three months of the last check"
    if level == "settled":
        return YEARLY, "at the yearly service"
    return FIRST_AFTER, f"within about a month or {distance(FIRST_KM, site)}"


def _seen(outlook: Outlook, page: PackPage) -> Iterator[float]:
    """The days from which the time to the next check runs."""
    yield from (reading.day for reading in page.trail.read)
    if outlook.level == "too_little_data":
        yield from page.trail.change_days
        if page.last_check is not None:
            yield page.last_check.taken_at.timestamp() / DAY_S
