"""What a lock-out must show before a pack is opened, and what its readings tell.

Of the pack side a lock-out proves nothing: see `packs.rules.live`.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

SOURCE_MIN_V = 5.0
"""A known source below this proves no meter, V. Common practice, no source."""

SOURCE_TOLERANCE = 0.05
"""How far a sound meter may read from the known source, as a share of it. Common practice, no
source."""

RESIDUAL_V = 5.0
"""Above this a car side has not simply decayed, V. Common practice, no source."""

CONFIRMED: Mapping[str, str] = {
    "/done/key_away": "Take the key out of reach of the car, and confirm it.",
    "/done/twelve_v_off": "Disconnect the 12 V battery, and confirm it.",
    "/done/switch_out": "Take the service switch out, and confirm it.",
    "/done/covers": "Cover what stays live beside the work, and confirm it.",
    "/worn/gloves_air_tested": "Test the gloves by air today, both of them, and confirm it.",
    "/worn/protectors": "Put leather protectors over the gloves, and confirm it.",
    "/worn/eye_protection": "Put eye protection on, and confirm it.",
    "/worn/insulated_tools": "Lay out insulated tools and no others, and confirm it.",
}
"""What is confirmed one by one, by its pointer: the sentence that asks for it."""

CLEARED: Mapping[str, str] = {
    "/done/tools_out": "Take every tool and rag out of the pack, and confirm it.",
    "/done/tools_counted": "Count the tools against what was laid out, and confirm it.",
    "/done/covers_on": "Put the covers on, and confirm it.",
    "/done/everybody_clear": "See that everybody is clear of car and pack, and confirm it.",
}
"""As `CONFIRMED`, before the switch goes back in."""

READINGS: Mapping[str, str] = {
    "plus_minus_v": "plus to minus",
    "plus_case_v": "plus to case",
    "minus_case_v": "minus to case",
}
"""Where the car side is measured."""


@dataclass(frozen=True)
class Breach:
    """One gate that is not passed: where, and what to do."""

    pointer: str
    code: str
    sentence: str


@dataclass(frozen=True)
class Measured:
    """The meter on its known source before and after, and the car side between, V; minutes."""

    source_v: float
    source_before_v: float
    source_after_v: float
    readings: Mapping[str, float]
    waited_min: float


def unconfirmed(
    said: Mapping[str, Mapping[str, bool]], asked: Mapping[str, str]
) -> tuple[Breach, ...]:
    """What of `asked`, such as CONFIRMED, nobody confirmed; `said` by the parts of its pointers."""
    return tuple(
        Breach(pointer, "not_confirmed", sentence)
        for pointer, sentence in asked.items()
        if not _answer(said, pointer)
    )


def _answer(said: Mapping[str, Mapping[str, bool]], pointer: str) -> bool:
    _, group, name = pointer.split("/")
    return said.get(group, {}).get(name) is True


def breaches(measured: Measured, *, touch_limit_v: float, wait_min: float) -> tuple[Breach, ...]:
    """Which gates the wait, the meter and the three readings do not pass; empty if none."""
    return (
        *_wait(measured.waited_min, wait_min),
        *_meter(measured),
        *_too_high(measured.readings, touch_limit_v),
    )


def _wait(waited_min: float, wait_min: float) -> Iterator[Breach]:
    if waited_min < wait_min:
        yield Breach(
            "/waited_min",
            "wait_too_short",
            f"{waited_min:g} min were waited; this type asks for {wait_min:g} min after the switch "
            "is out. Wait, then measure again.",
        )


def _meter(measured: Measured) -> Iterator[Breach]:
    known = measured.source_v
    if known < SOURCE_MIN_V:
        yield Breach(
            "/source_v",
            "source_too_low",
            f"A source of {known:g} V proves no meter; take a known one of {SOURCE_MIN_V:g} V or "
            "more.",
        )
        return
    for name, when in (("source_before_v", "before"), ("source_after_v", "after")):
        read = getattr(measured, name)
        if abs(read - known) > SOURCE_TOLERANCE * known:
            yield Breach(
                f"/{name}",
                "meter_not_proved",
                f"The meter read {read:g} V on a source of {known:g} V {when} the measuring; its "
                "readings prove nothing. Take another meter, and measure again.",
            )


def _too_high(readings: Mapping[str, float], touch_limit_v: float) -> Iterator[Breach]:
    for name, where in READINGS.items():
        if abs(readings[name]) >= touch_limit_v:
            yield Breach(
                f"/readings/{name}",
                "car_side_live",
                f"The car side shows {readings[name]:g} V {where}; it is dead below "
                f"{touch_limit_v:g} V. Keep away, wait, find what feeds it, and measure again.",
            )


def findings(readings: Mapping[str, float], waited_min: float) -> tuple[str, ...]:
    """What readings below the limit tell all the same, in words."""
    return tuple(
        f"After {waited_min:g} min the car side still shows {readings[name]:g} V {where}: below "
        "the limit, but well above zero. Find out why: a capacitor that does not discharge, a "
        "contactor that does not open, or a leak."
        for name, where in READINGS.items()
        if abs(readings[name]) >= RESIDUAL_V
    )
