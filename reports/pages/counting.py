"""Numbers of things and of days, as they are said in a sentence."""

from collections.abc import Sequence
from datetime import date, datetime

from django.utils import timezone

from packs.pages.units import day

FEW = ("no", "one", "two", "three", "four", "five", "six")
SAID = (*FEW, "seven", "eight", "nine", "ten", "eleven", "twelve")
MINUTES = 60


def number(count: int) -> str:
    return SAID[count] if count < len(SAID) else str(count)


def counted(count: int, noun: str, many: str = "") -> str:
    """Seven cars, one car, no cars."""
    return f"{number(count)} {noun if count == 1 else many or noun + 's'}"


def together(parts: Sequence[str]) -> str:
    """Parts of a sentence in a row, the last two joined by a word."""
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"


def since(at: datetime, now: date) -> str:
    """From when: by the day for what is near."""
    days = (now - timezone.localdate(at)).days
    if days <= 0:
        return "since today"
    return "since yesterday" if days == 1 else f"since {day(at)}"


def days_here(at: datetime, now: date) -> str:
    """How many days it has been, by the calendar."""
    days = (now - timezone.localdate(at)).days
    if days <= 0:
        return "came today"
    return "came yesterday" if days == 1 else f"{number(days)} days"


def overdue_by(at: datetime, now: datetime) -> str:
    """How late it is: in minutes, hours or days, the largest that fits."""
    minutes = max(1, int((now - at).total_seconds() // 60))
    if minutes < MINUTES:
        return counted(minutes, "minute")
    hours = minutes // MINUTES
    return counted(hours, "hour") if hours < 24 else counted(hours // 24, "day")


def day_of(when: datetime, now: date) -> str:
    """Today, yesterday, tomorrow, or the day."""
    near = {0: "today", 1: "tomorrow", -1: "yesterday"}
    return near.get((timezone.localdate(when) - now).days) or day(when)
