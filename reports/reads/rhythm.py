"""How soon a pack is looked at again, by its level; common practice, no source."""

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta

AT_ONCE = frozenset({"near_limit", "over_limit"})
FIRST_AFTER, FIRST_KM = timedelta(days=30), 1000
DRIFTING_AFTER = timedelta(days=91)
YEARLY = timedelta(days=365)
AFTER: Mapping[str, timedelta] = {
    "too_little_data": FIRST_AFTER,
    "drifting": DRIFTING_AFTER,
    "settled": YEARLY,
}
NOW = datetime(1970, 1, 1, tzinfo=UTC)  # stands before every day that a check can be due


def due_at(level: str, last_check: datetime | None, *, near: bool) -> datetime:
    """When the next check is due; NOW where it does not wait for a day.

    `near`: whether what was measured alone is near the limit, whatever the level.
    """
    if near or level in AT_ONCE or last_check is None:
        return NOW
    return last_check + AFTER[level]
