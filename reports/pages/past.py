"""The history at the foot of a pack's page: its lines, and the addresses of those beyond."""

from dataclasses import dataclass
from datetime import UTC, datetime
from urllib.parse import urlencode

from django.http import Http404, HttpRequest

from packs.models import Pack
from packs.pages.doors import roles
from packs.reads import history

LINES = 25
PART = "~"  # parts an instant from a revision in an address


@dataclass(frozen=True)
class Past:
    """A page of history; `newer` and `older` are the queries that lead on, or nothing."""

    lines: tuple[history.Line, ...]
    newer: str
    older: str


def past(request: HttpRequest, pack: Pack) -> Past:
    """The lines asked for, of the kinds that this reader may see elsewhere."""
    kinds = history.kinds_for(roles(request))
    before, after = (_place(request.GET.get(side, "")) for side in ("before", "after"))
    page = history.page(pack, kinds=kinds, size=LINES, before=before, after=after)
    return Past(
        lines=page.lines,
        newer=_query("after", page.lines[:1]) if page.newer else "",
        older=_query("before", page.lines[-1:]) if page.older else "",
    )


def _query(side: str, edge: tuple[history.Line, ...]) -> str:
    return urlencode([(side, f"{line.at.isoformat()}{PART}{line.revision}") for line in edge])


def _place(said: str) -> history.Place | None:
    if not said:
        return None
    instant, _, revision = said.partition(PART)
    try:
        at = datetime.fromisoformat(instant)
        place = history.Place(at.astimezone(UTC), int(revision))
    except (ValueError, OverflowError) as error:
        raise Http404("This page of the history is not there.") from error
    if at.tzinfo is None or abs(place.revision) >> 62:
        raise Http404("This page of the history is not there.")
    return place
