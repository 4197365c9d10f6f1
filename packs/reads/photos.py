"""Photographs of packs, without the pictures themselves."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time

from django.db.models import QuerySet

from packs.models import Pack, Photo, Visit
from packs.reads import sites
from packs.rules.identity import decode, encode

SHOWN = 12  # of one pack on a page; the history holds them all


@dataclass(frozen=True)
class Shown:
    """A photograph by its opaque id, with what was said of it."""

    key: str
    at: datetime
    note: str
    width: int
    height: int


def standing() -> QuerySet[Photo]:
    return Photo.objects.filter(voided_at__isnull=True).order_by("-happened_at", "-pk")


def of_pack(pack: Pack | None) -> list[Shown]:
    """The newest photographs of a pack."""
    return [_shown(row) for row in standing().filter(pack=pack)[:SHOWN]]


def of_visit(visit: Visit) -> list[Shown]:
    """The photographs taken on a visit, the newest first."""
    return [_shown(row) for row in standing().filter(visit=visit)]


def named(keys: Sequence[str]) -> list[Shown]:
    """The photographs of these opaque ids that still count."""
    numbers = [number for key in keys if (number := decode(Photo.PREFIX, key)) is not None]
    return [_shown(row) for row in standing().filter(pk__in=numbers)]


def ids_since(pack: Pack, day: date) -> list[str]:
    """The opaque ids of the photographs taken of a pack from that day on."""
    begun = datetime.combine(day, time.min, tzinfo=sites.zone())
    rows = standing().filter(pack=pack, happened_at__gte=begun)
    return [encode(Photo.PREFIX, row.pk) for row in rows]


def _shown(row: Photo) -> Shown:
    key = encode(Photo.PREFIX, row.pk)
    return Shown(key, row.happened_at, row.note, row.width, row.height)
