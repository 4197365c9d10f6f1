"""Days of the made-up shop: day 0 is the day on which the demo was first set up."""

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

OPENS = time(8, 30)
SATURDAY = 5


@dataclass(frozen=True)
class Calendar:
    """The shop's first day and where its clock hangs."""

    today: date
    zone: ZoneInfo

    @classmethod
    def of(cls, set_up_at: datetime, time_zone: str) -> "Calendar":
        zone = ZoneInfo(time_zone)
        return cls(set_up_at.astimezone(zone).date(), zone)

    @property
    def day_of_year(self) -> int:
        return self.today.timetuple().tm_yday

    def date(self, day: float) -> date:
        return self.today + timedelta(days=int(day // 1))

    def at(self, day: float, minutes: float = 0) -> datetime:
        """An instant so many minutes after the shop opens on that day."""
        opening = datetime.combine(self.date(day), OPENS, tzinfo=self.zone)
        return opening.astimezone(UTC) + timedelta(seconds=round(minutes * 60))

    def midnight(self, day: float) -> datetime:
        return datetime.combine(self.date(day), time.min, tzinfo=self.zone).astimezone(UTC)

    def open_day(self, day: float) -> int:
        """The first day from `day` on that the shop is open."""
        first = whole_day(day)
        weekday = self.date(first).weekday()
        return first + max(0, 7 - weekday if weekday >= SATURDAY else 0)

    def workday(self, number: int) -> int:
        """A day that the shop is open, so many of them from today, or from the next open one."""
        day = self.open_day(0)
        for _ in range(abs(number)):
            day = self.open_day(day + 1) if number > 0 else self._open_before(day)
        return day

    def _open_before(self, day: int) -> int:
        weekday = self.date(day - 1).weekday()
        return day - 1 - max(0, weekday - SATURDAY + 1)


def whole_day(day: float) -> int:
    """The first whole day not before `day`."""
    return -int(-day // 1)
