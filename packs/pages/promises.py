"""A warranty in the words of the desk: for what, until when, ended by how much."""

from packs.models import Site
from packs.pages.units import day, distance
from packs.reads.arrivals import Promise


def kind(promise: Promise) -> str:
    return promise.warranty.get_repair_kind_display().capitalize()


def until(promise: Promise, site: Site) -> str:
    """Until when it runs, whichever comes first."""
    term, km = promise.term, promise.warranty.km
    ends = [] if term.ends_on is None else [day(term.ends_on)]
    if term.ends_km is not None:
        ends.append(distance(term.ends_km, site))
    elif km is not None:
        ends.append(f"{distance(km, site)} driven, the odometer at its end not being known")
    return f"until {' or '.join(ends)}" + (", whichever comes first" if len(ends) > 1 else "")


def past(promise: Promise, site: Site) -> str:
    """By how much it has ended."""
    ends = []
    if promise.days_past is not None:
        ends.append(f"{promise.days_past} day{'' if promise.days_past == 1 else 's'} ago")
    if promise.km_past is not None:
        ends.append(f"{distance(promise.km_past, site)} ago")
    return "ended" + (f" {' and '.join(ends)}" if ends else "")
