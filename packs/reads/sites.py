"""The workshop's own settings."""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.conf import settings

from packs.models import Site

_held: ContextVar[Site | None] = ContextVar("site", default=None)


def present() -> Site:
    """The first site; where none was posted yet, one as the settings make it, not stored."""
    stored = _held.get() or Site.objects.order_by("pk").first()
    return stored or Site(code="workshop", name="Workshop", time_zone=settings.TIME_ZONE)


@contextmanager
def held(site: Site) -> Iterator[None]:
    """Within, `site` is the present one: a page asks for it often and reads it once."""
    token = _held.set(site)
    try:
        yield
    finally:
        _held.reset(token)


def zone(site: Site | None = None) -> ZoneInfo:
    return ZoneInfo((site or present()).time_zone)


def day(at: datetime, site: Site | None = None) -> date:
    """The day it is at that instant where the site is."""
    return at.astimezone(zone(site)).date()
