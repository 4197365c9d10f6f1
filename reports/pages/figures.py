"""Chances, days and volts as they are said."""

from datetime import UTC, date, datetime, timedelta

from django.utils import formats, timezone

from packs.pages.units import day

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
NEAR = timedelta(days=90)  # to here a forecast is told by the day
NBSP = "\u00a0"  # keeps a unit beside its figure
MOST_BELOW = 0.1  # of a chance: a fraction may say no less than this much under it
FRACTIONS = (
    (1 / 10, "about 1 in 10"),
    (1 / 8, "about 1 in 8"),
    (1 / 7, "about 1 in 7"),
    (1 / 6, "about 1 in 6"),
    (1 / 5, "about 1 in 5"),
    (1 / 4, "about 1 in 4"),
    (3 / 10, "about 3 in 10"),
    (1 / 3, "about 1 in 3"),
    (4 / 10, "about 4 in 10"),
    (0.45, "nearly half"),
    (1 / 2, "about half"),
    (6 / 10, "about 6 in 10"),
    (2 / 3, "about 2 in 3"),
    (7 / 10, "about 7 in 10"),
    (3 / 4, "about 3 in 4"),
    (8 / 10, "about 8 in 10"),
    (9 / 10, "about 9 in 10"),
)


def frequency(share: float) -> str:
    """A probability as so many in so few, or in 100 where it is small."""
    if share < 0.01:
        return "fewer than 1 in 100"
    if share < 0.095:
        return f"about {round(share * 100)} in 100"
    if share >= 0.95:
        return "nearly all"
    fair = [one for one in FRACTIONS if one[0] >= share * (1 - MOST_BELOW)]
    return min(fair, key=lambda one: abs(one[0] - share))[1]


def percent(share: float) -> str:
    if share < 0.01:
        return f"under 1{NBSP}%"
    return f"over 99{NBSP}%" if share > 0.99 else f"{share * 100:.0f}{NBSP}%"


def month(when: date | datetime) -> str:
    """A month in the order that the site writes."""
    local = timezone.localtime(when) if isinstance(when, datetime) else when
    return formats.date_format(local, "YEAR_MONTH_FORMAT")


def rough(when: date, now: date) -> str:
    """A day as finely as it can be meant: near ones by the day, far ones by the month."""
    return day(when) if when - now <= NEAR else month(when)


def day_number(days: float) -> str:
    """A day since 1970, as text."""
    return day(EPOCH + timedelta(days=days))


def month_number(days: float) -> str:
    """Its month."""
    return month(EPOCH + timedelta(days=days))


def volts(value: float) -> str:
    return f"{value:.2f}{NBSP}V"


def capital(text: str) -> str:
    return text[:1].upper() + text[1:]
