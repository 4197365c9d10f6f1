"""Dates and times as files write them, read only where they can mean one instant."""

import math
import re
from datetime import UTC, date, datetime, time, timedelta, timezone
from zoneinfo import ZoneInfo

from packs.rules.check_entry import Wrong

LONGEST = 60  # characters of a date with its time; whatever is longer is none
FAR_OFFSET = timedelta(hours=16)  # PostgreSQL reads ±15:59:59 at most (its MAX_TZDISP_HOUR)
TWO_DIGITS = 2000  # added to a year of two digits; no pack is older
_YEAR_FIRST = re.compile(r"(\d{4})([-/.]?)(\d{1,2})\2(\d{1,2})\Z")
_YEAR_LAST = re.compile(r"(\d{1,2})([-/.]) ?(\d{1,2})\2 ?(\d{4}|\d{2})\Z")
_CLOCK = re.compile(
    r"(\d{1,2})(?::?(\d{2}))(?::?(\d{2})(?:[.,](\d{1,9}))?)?\s*([AaPp])?(?:\.?[Mm]\.?)?\s*"
    r"([Zz]|UTC|GMT|[-+]\d{2}:?(?:\d{2})?)?\Z"
)
_WHOLE = re.compile(r"([-/.\d]{6,10})\.?(?: ?[Tt,;] ?| +)(.+)\Z")
_UNIX = re.compile(r"(\d{9,10})([.,]\d+)?\Z|(\d{12,13})\Z")


class Unclear(ValueError):
    """A text that is no instant, or could be two."""

    def __init__(self, code: str, detail: str) -> None:
        super().__init__(detail)
        self.wrong = Wrong("/taken_at", code, detail)


def read_instant(text: str, *, dates: str, zone: ZoneInfo) -> datetime:
    """The instant of a date with its time; without an offset it is by the clock of `zone`.

    `dates` says what 5.3.2026 means: iso (nothing), day_month or month_day. Unix seconds and
    milliseconds are taken as well. Raises Unclear.
    """
    _refuse_long(text)
    unix = _UNIX.match(text)
    if unix:
        return _from_unix(unix)
    whole = _WHOLE.match(text)
    if whole is None:
        read_day(text, dates=dates)
        raise Unclear(
            "no_time",
            f"'{text}' has no time of day; name the column of the time as well, or say one time "
            "for all with the setting time.",
        )
    return read_parts(whole[1], whole[2], dates=dates, zone=zone)


def _from_unix(match: re.Match[str]) -> datetime:
    seconds = int(match[3]) / 1000 if match[3] else float(match[0].replace(",", "."))
    return datetime.fromtimestamp(math.floor(seconds), UTC) + timedelta(seconds=seconds % 1)


def read_parts(day: str, clock: str, *, dates: str, zone: ZoneInfo) -> datetime:
    """The instant of a date and a time that stand apart. Raises Unclear."""
    _refuse_long(day + clock)
    calendar = read_day(day, dates=dates)
    match = _CLOCK.match(clock.strip())
    if match is None:
        raise Unclear("not_a_time", f"'{clock}' is no time of day such as 14:05 or 14:05:30.")
    hours, minutes, seconds, fraction, half, offset = match.groups()
    hour = int(hours)
    if half:
        hour = hour % 12 + (12 if half in "Pp" else 0)
    micro = int(f"{(fraction or '0')[:6]:0<6}")
    try:
        at = time(hour, int(minutes), min(int(seconds or 0), 59), micro)
    except ValueError as error:
        raise Unclear("not_a_time", f"There is no time '{clock}'; correct it.") from error
    return _placed(datetime.combine(calendar, at), offset, zone)


def _refuse_long(text: str) -> None:
    if len(text) > LONGEST:
        raise Unclear("not_a_date", f"'{text[:LONGEST]}...' is no date; correct it.")


def _placed(local: datetime, offset: str | None, zone: ZoneInfo) -> datetime:
    if offset:
        return storable(local.replace(tzinfo=_offset(offset)))
    placed = local.replace(tzinfo=zone)
    if placed.astimezone(UTC).astimezone(zone).replace(tzinfo=None) != local:
        raise Unclear(
            "no_such_instant",
            f"{local.isoformat(' ')} was left out when the clocks of {zone.key} went forward; "
            "correct it, or say the zone of the tester's clock with the setting time_zone.",
        )
    return placed


def _offset(text: str) -> timezone:
    if text in ("Z", "z", "UTC", "GMT"):
        return UTC
    digits = text[1:].replace(":", "")
    minutes = int(digits[:2]) * 60 + int(digits[2:] or 0)
    if minutes >= 24 * 60:
        raise Unclear("not_a_time", f"There is no offset '{text}'; correct it.")
    return timezone(timedelta(minutes=-minutes if text[0] == "-" else minutes))


def read_day(text: str, *, dates: str) -> date:
    """The calendar day of a date. Raises Unclear."""
    text = text.strip().rstrip(".")
    first, last = _YEAR_FIRST.match(text), _YEAR_LAST.match(text)
    if first and (first[2] or len(text) == 8):
        year, month, day = int(first[1]), int(first[3]), int(first[4])
    elif last and dates == "iso":
        raise Unclear(
            "ambiguous_date",
            f"'{text}' can be read two ways; say which with the setting dates: day_month where "
            "the day comes first, month_day where the month does.",
        )
    elif last:
        ordered = (last[3], last[1]) if dates == "day_month" else (last[1], last[3])
        month, day = int(ordered[0]), int(ordered[1])
        year = int(last[4]) + (TWO_DIGITS if len(last[4]) == 2 else 0)
    else:
        raise Unclear("not_a_date", f"'{text}' is no date such as 2026-03-05.")
    try:
        return date(year, month, day)
    except ValueError as error:
        raise Unclear(
            "not_a_date", f"There is no date '{text}'; correct it, or look at the setting dates."
        ) from error


def order_of(texts: list[str]) -> str | None:
    """What the dates among these texts must mean: iso, day_month, month_day; None: unclear."""
    heads = [text.strip().partition(" ")[0].rstrip(".,;") for text in texts]
    matches = [match for head in heads if (match := _YEAR_LAST.match(head))]
    if not matches:
        return "iso"
    days = any(int(match[1]) > 12 for match in matches)
    months = any(int(match[3]) > 12 for match in matches)
    return None if days == months else "day_month" if days else "month_day"


def are_instants(texts: list[str]) -> bool:
    """Whether each of these is a date with its time, in one order or another."""
    return not any(text.isdecimal() for text in texts) and any(
        all(_is_instant(text, dates) for text in texts) for dates in ("day_month", "month_day")
    )


def _is_instant(text: str, dates: str) -> bool:
    try:
        read_instant(text, dates=dates, zone=ZoneInfo("UTC"))
    except Unclear:
        return False
    return True


def storable(instant: datetime) -> datetime:
    """The same instant, in UTC where its own offset is larger than PostgreSQL reads."""
    offset = instant.utcoffset()
    if offset is not None and abs(offset) >= FAR_OFFSET:
        return instant.astimezone(UTC)
    return instant
