"""Whether what somebody is qualified for still stands."""

from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any


def lapsed_on(held: Iterable[Mapping[str, Any]], day: date) -> date | None:
    """When the last of the qualifications expired, where none stands on that day.

    `held` each have expires_on, an ISO date or None; who has none recorded is not judged.
    """
    ends = [one.get("expires_on") for one in held]
    told = [date.fromisoformat(end) for end in ends if end is not None]
    if not told or len(told) < len(ends) or max(told) >= day:
        return None
    return max(told)
