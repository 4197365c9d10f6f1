"""The history of a pack on its page: day by day, with its photographs, and the pages beyond."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime
from itertools import groupby
from urllib.parse import urlencode

from django.http import Http404, HttpRequest
from django.urls import reverse
from django.utils import timezone

from packs.models import Photo, Site
from packs.pages.doors import roles
from packs.pages.units import day
from packs.reads import history
from reports.pages import notes
from reports.reads.pack_page import PackPage

LINES = 25
PART = "~"  # parts an instant from a revision in an address


@dataclass(frozen=True)
class Picture:
    """A photograph: its address, that of its small copy, and its words for who does not see it."""

    link: str
    small: str
    words: str


@dataclass(frozen=True)
class Told:
    """A line in words; `picture` where it is a photograph that counts."""

    said: str
    by: str
    voided: bool
    picture: Picture | None


@dataclass(frozen=True)
class Day:
    """The lines of one day where the site is, newest first."""

    on: date
    lines: tuple[Told, ...]


@dataclass(frozen=True)
class Past:
    """A page of history; `newer` and `older` are the queries that lead on, or nothing."""

    days: tuple[Day, ...]
    newer: str
    older: str


def past(request: HttpRequest, shown: PackPage, site: Site) -> Past:
    """The lines asked for, of the kinds that this reader may see elsewhere."""
    kinds = history.kinds_for(roles(request))
    before, after = (_place(request.GET.get(side, "")) for side in ("before", "after"))
    page = history.page(
        shown.pack,
        kinds=kinds,
        size=LINES,
        before=before,
        after=after,
        checks=shown.records.every_check,
    )
    cars = (row.vehicle for row in shown.records.installations)
    around = notes.Around(site, {car.vin: car.plate for car in cars})
    return Past(
        days=tuple(_days(page.lines, around)),
        newer=_query("after", page.lines[:1]) if page.newer else "",
        older=_query("before", page.lines[-1:]) if page.older else "",
    )


def _days(lines: tuple[history.Line, ...], around: notes.Around) -> Iterator[Day]:
    for on, some in groupby(lines, lambda line: timezone.localdate(line.at)):
        yield Day(on, tuple(_told(line, around) for line in some))


def _told(line: history.Line, around: notes.Around) -> Told:
    picture = _picture(line) if line.kind == Photo.KIND and not line.voided else None
    return Told(notes.told(line, around), line.by, line.voided, picture)


def _picture(line: history.Line) -> Picture:
    link = reverse("photo-image", args=[line.key])
    _, _, note = line.summary.partition(": ")
    return Picture(link, f"{link}?size=small", f"{note or 'Photograph'}, {day(line.at)}")


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
