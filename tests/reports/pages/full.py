"""A pack with something of every kind in its history, and as many checks as are asked for."""

from datetime import timedelta
from io import BytesIO
from typing import Any

from PIL import Image

from packs.models import Pack
from packs.rules.identity import encode
from packs.writes import (
    calls,
    failures,
    inspections,
    installations,
    photos,
    swaps,
    vehicles,
    visits,
    warranties,
)
from tests import world

LINES = 40


def picture() -> bytes:
    made = BytesIO()
    Image.new("RGB", (64, 48), "teal").save(made, "JPEG")
    return made.getvalue()


def full_pack(checks: int, lines: int = LINES, serial: str = "TP-0001", **promised: Any) -> Pack:
    """Checks a day apart, half of them at rest, and so many lines beside them.

    `promised` is what its warranty says otherwise.
    """
    pack, by = world.pack(serial), world.actor()
    vin = f"TST{pack.pk:014d}"
    vehicles.create_vehicle(by=by, at=world.BEGUN, entry={"vin": vin, "plate": f"W-{pack.pk} X"})
    opened = world.later(1)
    entry = {"pack": serial, "vehicle": vin, "opened_at": opened, "odometer_km": 120_000,
             "complaint": "warning light"}  # fmt: skip
    visit = visits.open_visit(by=by, at=opened, entry=entry).row
    about = {"pack": serial, "visit": encode(visit.PREFIX, visit.pk)}
    sat = {"pack": serial, "vehicle": vin, "installed_at": opened, "installed_km": 120_000}
    installations.record_installation(by=by, at=opened, entry=sat)
    promise = {**about, "repair_kind": "module_swap", "starts_on": opened.date(), "months": 240,
               "km": 20_000, "starts_km": 120_000, "covers": "modules", **promised}  # fmt: skip
    warranties.record_warranty(by=by, at=opened, entry=promise)
    failed = {**about, "failed_on": opened.date(), "cause": "module", "how_known": "code_set"}
    failures.record_failure(by=by, at=opened, entry=failed)
    called = {**about, "at": opened, "reason": "ready", "outcome": "reached"}
    calls.record_call(by=by, at=opened, entry=called)
    for number in range(lines - 6):
        _line(number, about)
    for number in range(checks):
        _check(pack, number, checks)
    return pack


def _line(number: int, about: dict[str, str]) -> None:
    by, at = world.actor(), world.later(2 + number / 100)
    if number % 3 == 0:
        seen = [{"part": "bus bar", "finding": "corrosion", "grade": 1, "position": 4}]
        inspections.record_inspection(by=by, at=at, entry={**about, "at": at, "findings": seen})
    elif number % 3 == 1:
        changes = [{"position": 5 + number % 7, "orientation": "normal"}]
        swaps.record_swap(
            by=by, at=at, entry={**about, "done_at": at, "kind": "module", "changes": changes}
        )
    else:
        photos.record_photo(
            by=by,
            at=at,
            entry={**about, "at": at, "note": f"Bus bar {number}", "image": picture()},
        )


def _check(pack: Pack, number: int, checks: int) -> None:
    volts = [*world.healthy_v(27), 7.8 - number / (4 * checks)]
    taken_at = world.later(3) + timedelta(days=number // 2, minutes=5 * (number % 2))
    load: dict[str, Any] = {"condition": "load", "current_a": 20.0} if number % 2 else {}
    world.check(pack, volts, taken_at=taken_at, **load)
