"""The strange things of the made-up shop: what every shop's records hold a few of."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import timedelta

from shop.demo.calendar import Calendar
from shop.demo.events import Event, Ref

LATE = timedelta(days=40)
ODD_METER_GAIN = 1.03
SETTLED_D = -60  # only what is older is made strange, so that all of it is told by now


def make_strange(events: Sequence[Event], calendar: Calendar) -> list[Event]:
    """The events with readings reversed, of 0 V, by an odd meter, told late, twice, corrected."""
    told, used = list(events), set[str]()
    before = calendar.midnight(SETTLED_D)
    for make, fits in STRANGE:
        found = next(
            event
            for event in told
            if event.kind == "voltage_check"
            and event.at < before
            and event.pack not in used
            and fits(event)
        )
        used.add(str(found.pack))
        at = told.index(found)
        told[at : at + 1] = make(found)
    return told


def _with_volts(event: Event, position: int, volts: float) -> Event:
    read = list(event.entry["voltages_v"])
    read[position - 1] = volts
    return replace(event, entry={**event.entry, "voltages_v": read})


def _reversed(event: Event) -> list[Event]:
    """A module put in the wrong way round, seen before the pack was joined, and checked again."""
    at = 7
    wrong = _with_volts(event, at, -event.entry["voltages_v"][at - 1])
    earlier = timedelta(minutes=-25)
    first = {**wrong.entry, "taken_at": event.entry["taken_at"] + earlier, "set": f"{event.key}/0"}
    return [replace(wrong, key=f"{event.key}/first", at=event.at + earlier, entry=first), event]


def _zero(event: Event) -> list[Event]:
    """A sense lead was off."""
    return [_with_volts(event, 4, 0.0)]


def _odd_meter(event: Event) -> list[Event]:
    """A meter borrowed from next door that shows too much everywhere, to a tenth of a volt."""
    read = [round(volts * ODD_METER_GAIN, 1) for volts in event.entry["voltages_v"]]
    borrowed = {"voltages_v": read, "equipment": None, "instrument": "meter borrowed next door"}
    return [replace(event, entry={**event.entry, **borrowed})]


def _late(event: Event) -> list[Event]:
    """Written on paper, and told weeks later."""
    return [replace(event, at=event.at + LATE)]


def _twice(event: Event) -> list[Event]:
    return [event, replace(event, at=event.at + timedelta(minutes=1))]


def _corrected(event: Event) -> list[Event]:
    """The current was typed wrong; the right check takes the place of the wrong one."""
    wrong = {**event.entry, "current_a": event.entry["current_a"] * 10}
    right = {**event.entry, "supersedes": Ref(event.key)}
    again = Event(
        at=event.at + timedelta(minutes=9),
        kind=event.kind,
        key=f"{event.key}/right",
        entry=right,
        pack=event.pack,
        by=event.by,
    )
    return [replace(event, entry=wrong), again]


def _voided(event: Event) -> list[Event]:
    """Taken on another pack by mistake, and taken out of account the same day."""
    reason = {"reason": "read on the car beside this one"}
    copy = {**event.entry, "taken_at": event.entry["taken_at"] + timedelta(minutes=3)}
    wrong = replace(event, key=f"{event.key}/other", entry=copy, at=event.at + timedelta(minutes=4))
    void = replace(wrong, kind="void", entry=reason, at=event.at + timedelta(minutes=40))
    return [event, wrong, void]


def _is(level: str, condition: str, start: str) -> Callable[[Event], bool]:
    def fits(event: Event) -> bool:
        entry = event.entry
        kind = entry["level"], entry["condition"], str(event.pack)[:2]
        return kind == (level, condition, start) and None not in entry["voltages_v"]

    return fits


def _after_swap(event: Event) -> bool:
    return _is("block", "rest", "HZ")(event) and str(event.entry["set"]).endswith("after")


STRANGE: Sequence[tuple[Callable[[Event], list[Event]], Callable[[Event], bool]]] = (
    (_reversed, _after_swap),
    (_zero, _is("block", "rest", "AL")),
    (_late, _is("block", "load", "AL")),
    (_late, _is("block", "load", "BR")),
    (_twice, _is("cell", "load", "RW")),
    (_twice, _is("block", "rest", "LR")),
    (_odd_meter, _is("block", "load", "LR")),
    (_corrected, _is("block", "load", "HZ")),
    (_voided, _is("block", "load", "AL")),
)
