"""Figures and dates as the site likes them."""

from datetime import date, datetime
from decimal import Decimal
from functools import lru_cache

from django.utils import dateformat, formats, timezone

from packs.models import Site
from packs.rules.bounds import KM_PER_MILE

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
    on = local.date() if isinstance(local, datetime) else local
    return _written(on, formats.get_format("DATE_FORMAT"))


@lru_cache(maxsize=4096)
def _written(on: date, form: str) -> str:
    """A page says the same few days many times over."""
    return dateformat.format(on, form)


def moment(when: datetime) -> str:
    """An instant by the clock of the site, the day in the order that it writes."""
    local = timezone.localtime(when)
    return f"{day(local)}, {formats.time_format(local, 'TIME_FORMAT')}"


def money(amount: Decimal, site: Site) -> str:
    """An amount to the cent, in the currency of the site."""
    written = f"{amount:,.2f}".replace(",", GROUP)
    return f"{written}\u00a0{site.currency}" if site.currency else written


def _grouped(number: int) -> str:
    return f"{number:,}".replace(",", GROUP)
