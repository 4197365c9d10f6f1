"""Instants as the commands take them."""

from argparse import ArgumentTypeError
from datetime import datetime

from django.utils import timezone


def instant(text: str) -> datetime:
    """An instant with its offset, such as 2026-03-01T09:30:00+01:00."""
    try:
        value = datetime.fromisoformat(text.replace("Z", "+00:00"))
    except ValueError as error:
        raise ArgumentTypeError(f"'{text}' is no instant; write 2026-03-01T09:30:00Z") from error
    if value.tzinfo is None:
        raise ArgumentTypeError(f"'{text}' has no offset; write 2026-03-01T09:30:00Z")
    if value > timezone.now():
        raise ArgumentTypeError(f"'{text}' lies ahead; give a past instant")
    return value
