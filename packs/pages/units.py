"""Figures as the site likes them."""

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


def _grouped(number: int) -> str:
    return f"{number:,}".replace(",", GROUP)
