"""What an isolation check says, in words: the verdict, the place, and what to do next."""

from collections.abc import Iterator
from dataclasses import dataclass

from packs.rules.isolation import (
    AC_OHM_PER_V,
    DC_OHM_PER_V,
    Place,
    Verdict,
    asked_ohm_per_v,
    verdict,
)

FLATTERED = 0.02
"""Share by which the true value of one leak must lie below the formula's before it is told apart:
what meters err by. Common practice, no source."""

SCOPES = {
    "in_car": "in the car, its wiring joined",
    "harness_off": "the car's wiring unplugged",
    "pack_alone": "the pack alone",
}


@dataclass(frozen=True)
class Found:
    """An isolation check as it was made; `working_v` is the voltage that Ω/V are counted by: the
    string's nominal one, or what it was measured at where that is more."""

    isolation_ohm: float
    true_ohm: float
    working_v: float
    scope: str
    wet: bool
    place: Place | None = None
    loads: bool = False
    test_v: float | None = None


@dataclass(frozen=True)
class Judgement:
    """Ω/V by the method and at the least, whether that will do where it was measured, in words."""

    ohm_per_v: float
    least_ohm_per_v: float
    verdict: Verdict
    asked_ohm_per_v: float
    passes: bool
    said: str
    place_said: str
    notes: tuple[str, ...]


def judge(found: Found) -> Judgement:
    """The verdict rests on the lower of what the method says and what one leak would truly be."""
    ohm_per_v = found.isolation_ohm / found.working_v
    least = min(found.isolation_ohm, found.true_ohm) / found.working_v
    asked = asked_ohm_per_v(found.scope)
    return Judgement(
        ohm_per_v=ohm_per_v,
        least_ohm_per_v=least,
        verdict=verdict(least),
        asked_ohm_per_v=asked,
        passes=least >= asked,
        said=_said(least, asked),
        place_said="" if least >= asked else _place_said(found),
        notes=tuple(_notes(found, passes=least >= asked)),
    )


def _said(least: float, asked: float) -> str:
    figure = f"{least:,.0f} Ω/V"
    if least < DC_OHM_PER_V:
        return (
            f"Too low: {figure}, where {asked:g} Ω/V is asked. Find the leak before anything else."
        )
    if least < asked:
        return (
            f"Not enough in the car: {figure}, where {asked:g} Ω/V is asked with the a.c. side "
            f"joined. It would do for direct current alone ({DC_OHM_PER_V:g} Ω/V)."
        )
    if least < AC_OHM_PER_V:
        return (
            f"Enough for direct current: {figure}, {asked:g} Ω/V is asked. In the car, with the "
            f"a.c. side joined, it is {AC_OHM_PER_V:g} Ω/V."
        )
    return f"Good: {figure}, above {AC_OHM_PER_V:g} Ω/V."


def _place_said(found: Found) -> str:
    if found.place is None:
        return ""
    spot = found.place
    where = f"in the module at position {spot.position}"
    if spot.beside is not None:
        where = f"at the joint between positions {spot.position} and {spot.beside}"
    return (
        f"If it is one leak, it sits {spot.from_negative:.1f} modules from the negative end: "
        f"{where}, counted from the positive end, give or take one."
    )


def _notes(found: Found, *, passes: bool) -> Iterator[str]:
    if found.true_ohm < found.isolation_ohm * (1 - FLATTERED):
        yield (
            "One leak inside the string flatters the formula: it says "
            f"{kilohm(found.isolation_ohm)}, true are {kilohm(found.true_ohm)}, by which it is "
            "judged here."
        )
    if found.loads:
        yield (
            "The meter itself is most of the path to the case: the string is well isolated, and "
            "the place says little."
        )
    if found.test_v is not None and found.test_v < found.working_v:
        yield (
            f"Tested at {found.test_v:g} V, below the string's own {found.working_v:g} V: a leak "
            "that opens higher up is not seen."
        )
    yield from _where_next(found, passes=passes)


def _where_next(found: Found, *, passes: bool) -> Iterator[str]:
    if not passes and found.scope == "in_car":
        yield (
            "The leak may be the car's: unplug its wiring and measure again, before the pack is "
            "blamed."
        )
    if not passes and found.scope == "harness_off":
        yield "Measure the pack alone, out of the car: its carrier and hoses leak too."
    if not passes and found.wet:
        yield "It was wet: dry it, and measure again. What comes back with damp is still a leak."
    if passes and not found.wet:
        yield "It was dry: a leak that comes with damp does not show."


def kilohm(ohms: float) -> str:
    """A resistance as a meter shows it."""
    if ohms >= 1e6:
        return f"{ohms / 1e6:,.3g} MΩ"
    return f"{ohms / 1e3:,.4g} kΩ" if ohms >= 1e3 else f"{ohms:,.4g} Ω"
