"""Figures and dates as the site likes them."""

from datetime import date, datetime

from django.utils import formats, timezone

from packs.models import Site

KM_PER_MILE = 1.609344  # exact, by the international agreement on the yard of 1959
GROUP = "\u202f"  # parts thousands and does not break


def distance(km: int | None, site: Site) -> str:
    """A distance with its unit; nothing where it is not known."""
    if km is None:
        return ""
    if site.distance == "mi":
        return f"{_grouped(round(km / KM_PER_MILE))} mi"
    return f"{_grouped(km)} km"


def temperature(celsius: float | None, site: Site) -> str:
    """A temperature with its unit; nothing where it is not known."""
    if celsius is None:
        return ""
    if site.temperature == "f":
        return f"{celsius * 9 / 5 + 32:.0f} °F"
    return f"{celsius:.0f} °C"


def day(when: date | datetime) -> str:
    """A day in the order that the site writes; of an instant, the day that it is there."""
    local = timezone.localtime(when) if isinstance(when, datetime) else when
    return formats.date_format(local, "DATE_FORMAT")


def _grouped(number: int) -> str:
    return f"{number:,}".replace(",", GROUP)
