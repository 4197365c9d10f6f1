"""What was said, boiled down, so that the same thing said twice is known again."""

import hashlib
import json
from collections.abc import Mapping
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

import numpy as np
from django.db.models import Model


def digest(content: Mapping[str, Any]) -> bytes:
    """SHA-256 of the content, the same whatever the order of its fields or the offset of a time.

    Fields that are null are as if left out.
    """
    said = {name: value for name, value in content.items() if value is not None}
    return hashlib.sha256(json.dumps(said, sort_keys=True, default=_plain).encode()).digest()


def _plain(value: Any) -> Any:
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat()
    if isinstance(value, date | Decimal):
        return str(value)
    if isinstance(value, np.ndarray):
        return value.tolist()
    if isinstance(value, Model):
        return value.pk
    raise TypeError(f"{type(value).__name__} has no plain form")
