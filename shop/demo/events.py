"""What happened in the made-up shop, as entries for the product's own write functions."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any


@dataclass(frozen=True)
class Ref:
    """Stands in an entry for the opaque id of something that was told before under this key."""

    key: str


@dataclass(frozen=True)
class Event:
    """One thing told to the register: when, of which kind and pack, by whom, under which key.

    `version` is the version of the row that a change is made to; it is not made again to another.
    """

    at: datetime
    kind: str
    key: str
    entry: Mapping[str, Any]
    pack: str | None = None
    by: str | None = None
    version: int | None = None
