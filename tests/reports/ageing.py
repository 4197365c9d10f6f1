"""Packs that go off, made through the product's own write path."""

from datetime import datetime, timedelta
from typing import Any

from packs.models import Pack, PackType
from packs.rules.voltages import to_units
from packs.writes import checks
from packs.writes.actors import Actor
from tests import world

LOAD_A = 20.0  # the reference load of world.pack_type


def load_entry(pack: Pack, taken_at: datetime, low_v: float, **changes: Any) -> dict[str, Any]:
    """A load check of 14 blocks of which block 7 is low."""
    volts = [15.0 + 0.01 * (place % 3) for place in range(14)]
    volts[6] -= low_v
    return {
        "pack": pack.serial,
        "taken_at": taken_at,
        "level": "block",
        "condition": "load",
        "current_a": LOAD_A,
        "temperature_c": 25.0,
        "voltages_v": to_units(volts),
        **changes,
    }


def record(
    pack: Pack, days: float, low_v: float, *, by: Actor | None = None, **changes: Any
) -> Any:
    """Store one such check, a minute after it was taken."""
    taken_at = world.later(days=days)
    entry = load_entry(pack, taken_at, low_v, **changes)
    at = taken_at + timedelta(minutes=1)
    return checks.record(by=by or world.actor(), at=at, entry=entry).row


def drifting_pack(serial: str, kind: PackType | None = None, checks_taken: int = 6) -> Pack:
    """A pack whose block 7 sinks further at each of its half-yearly checks."""
    pack = world.pack(serial, kind)
    for number in range(checks_taken):
        record(pack, 180.0 * number, 0.15 * 1.35**number)
    pack.refresh_from_db()
    return pack


def fleet(count: int) -> list[Pack]:
    """Packs of one type, each drifting from its own start."""
    kind = world.pack_type()
    made = []
    for number in range(count):
        pack = world.pack(f"TP-{number:04d}", kind)
        for turn in range(4):
            record(pack, 200.0 * turn + number, (0.1 + 0.01 * (number % 7)) * 1.3**turn)
        made.append(pack)
    return made
