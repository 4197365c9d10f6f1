"""The workshop's own settings."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.conf import settings

from packs.models import Site


def present() -> Site:
    """The first site; where none was posted yet, one as the settings make it, not stored."""
    stored = Site.objects.order_by("pk").first()
    return stored or Site(code="workshop", name="Workshop", time_zone=settings.TIME_ZONE)


def zone(site: Site | None = None) -> ZoneInfo:
    return ZoneInfo((site or present()).time_zone)


def day(at: datetime, site: Site | None = None) -> date:
    """The day it is at that instant where the site is."""
    return at.astimezone(zone(site)).date()
