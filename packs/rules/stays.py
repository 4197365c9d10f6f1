"""A car's stay in the shop: what it waits for, in words, and how far ahead it may be promised."""

from collections.abc import Mapping
from datetime import datetime, timedelta

FARTHEST_PROMISE = timedelta(days=2 * 365)  # from arrival; beyond it a year was mistyped

WAITS: Mapping[str, str] = {
    "diagnosis": "diagnosis",
    "owner": "the owner’s word",
    "parts": "parts",
    "bench": "the bench",
    "road_test": "a road test",
    "collection": "to be collected",
}


def waiting(reason: str) -> str:
    """What a stay waits for as part of a sentence; of no reason, that it waits for nothing."""
    if not reason:
        return "waits for nothing"
    thing = WAITS[reason]
    return f"waits {thing}" if thing.startswith("to ") else f"waits for {thing}"


def promise_problem(promised_at: datetime, came_at: datetime) -> tuple[str, str] | None:
    """Why a car that came then can't be promised for that instant, as code and sentence."""
    if promised_at < came_at:
        sentence = "That is before it came in; correct the day or the time."
        return "promised_before_arrival", sentence
    if promised_at > came_at + FARTHEST_PROMISE:
        return "promised_too_late", "That is over two years after it came in; correct the year."
    return None
