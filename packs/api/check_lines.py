"""Reading one line of a stream of voltage checks fast, where nothing about it is in doubt.

Only ever says yes: what it doubts is read again by the shape that a single check is read by,
which alone knows what is wrong and how to tell it.
"""

import re
from datetime import datetime
from typing import Annotated, Any, Literal

import msgspec
from msgspec import UNSET, Meta, UnsetType

from packs.models.facts import EXTERNAL_ID_LENGTH
from packs.rules import bounds

PLAIN_INSTANT = re.compile(
    r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(?:\.(?:\d{3}|\d{6}))?(?:Z|[+-](?:0\d|1[0-5]):[0-5]\d)\Z",
    re.ASCII,
)  # the forms of RFC 3339 that every Python reads; other forms are read with care
ESCAPE = b"\\"  # in a JSON text: control characters and half pairs come no other way

Current = Annotated[float, Meta(ge=-bounds.CURRENT_MAX_A, le=bounds.CURRENT_MAX_A)]
Celsius = Annotated[float, Meta(ge=bounds.COLDEST_C, le=bounds.HOTTEST_C)]
Positive = Annotated[float, Meta(ge=0, le=1e59)]  # beyond, a whole number may have too many digits
Volt = Annotated[float, Meta(gt=-bounds.VOLTS_MAX, lt=bounds.VOLTS_MAX)] | None
Code = Annotated[str, Meta(min_length=1, max_length=bounds.CODE_LENGTH)]


class Places(msgspec.Struct, forbid_unknown_fields=True, omit_defaults=True):
    """Where in the pack it was how warm."""

    inlet: Celsius | UnsetType = UNSET
    outlet: Celsius | UnsetType = UNSET
    middle: Celsius | UnsetType = UNSET


class CheckLine(msgspec.Struct, forbid_unknown_fields=True, gc=False):
    """A voltage check as most senders send it; a correction is none of them."""

    pack: Code
    taken_at: str
    level: Literal["block", "module", "cell"]
    condition: Literal["rest", "load", "charge"]
    current_a: Current
    voltages_v: Annotated[list[Volt], Meta(min_length=1, max_length=bounds.POSITIONS_MAX)]
    set: Annotated[str, Meta(min_length=1, max_length=bounds.SET_LENGTH)] | None = None
    current_min_a: Current | None = None
    current_max_a: Current | None = None
    condition_s: Positive | None = None
    rested_min: Positive | None = None
    last_current: Literal["charge", "discharge"] | None = None
    soc_pct: Annotated[float, Meta(ge=0, le=100)] | None = None
    soc_source: Literal["monitor", "estimated"] | None = None
    temperature_c: Celsius | None = None
    temperatures_c: Places | None = None
    odometer_km: Annotated[int, Meta(ge=0, le=bounds.FARTHEST_KM)] | None = None
    taken: Literal["together", "one_by_one"] | None = None
    order: Literal["position", "monitor"] = "position"
    equipment: Code | None = None
    instrument: Annotated[str, Meta(min_length=1, max_length=bounds.INSTRUMENT_LENGTH)] | None = (
        None
    )
    visit: Code | None = None
    done_by: Code | None = None
    external_id: Annotated[str, Meta(min_length=1, max_length=EXTERNAL_ID_LENGTH)] | None = None


TEXTS = ("pack", "external_id", "set", "equipment", "instrument", "visit", "done_by")
DECODER = msgspec.json.Decoder(CheckLine)
CONTROLS = re.compile(r"[\x00-\x1f\ud800-\udfff]")


def read(raw: bytes) -> dict[str, Any] | None:
    """The entry that the line holds, as the shape would read it; None where it is in doubt."""
    if ESCAPE in raw:
        return None
    try:
        return _entry(DECODER.decode(raw))
    except (msgspec.MsgspecError, UnicodeDecodeError):
        return None


def take(item: Any) -> dict[str, Any] | None:
    """The same of an object that was read as JSON already."""
    try:
        entry = _entry(msgspec.convert(item, CheckLine))
    except msgspec.MsgspecError:
        return None
    if entry is None or any(CONTROLS.search(entry.get(name) or "") for name in TEXTS):
        return None
    return entry


def _entry(line: CheckLine) -> dict[str, Any] | None:
    said = msgspec.structs.asdict(line).items()
    entry = {name: value for name, value in said if value is not None}  # a third of the room
    for name in TEXTS:
        text = entry.get(name)
        if text is not None and text != text.strip():
            return None
    if not PLAIN_INSTANT.match(line.taken_at):
        return None
    try:
        entry["taken_at"] = taken_at = datetime.fromisoformat(line.taken_at)
    except ValueError:
        return None
    if not bounds.EARLIEST < taken_at.year < bounds.LATEST:
        return None
    if line.temperatures_c is not None:
        entry["temperatures_c"] = msgspec.to_builtins(line.temperatures_c)
    return entry
