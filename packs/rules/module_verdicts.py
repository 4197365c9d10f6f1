"""What a module's test says against the marks of its type, in words with the numbers."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from packs.rules.layouts import PassMarks

Word = Literal["pass", "fail", "no_mark"]

CAPACITY_C = (15.0, 25.0)
"""Temperature at which capacity is measured, °C: 20 ± 5 (IEC 61951-2, discharge performance)."""

BAD_GRADE = 2
"""Grade, 0 to 3, from which swelling or heat fails a module. Common practice, no source."""

BAD_VENTING = 1
"""A module that vented at all has lost electrolyte. Common practice, no source."""

LOOKED_FOR = ("swelling", "venting", "heat")
GRADES = ("none", "slight", "clear", "strong")


@dataclass(frozen=True)
class Figures:
    """What one test came to, each None where it did not say; `change_pct` between cycles."""

    capacity_ah: float | None = None
    resistance_mohm: float | None = None
    stand_mv_per_day: float | None = None
    change_pct: float | None = None


@dataclass(frozen=True)
class Verdict:
    """pass, fail or no_mark, and why, sentence by sentence."""

    word: Word
    reasons: tuple[str, ...]


def judge(figures: Figures, marks: PassMarks, findings: Mapping[str, int]) -> Verdict:
    """The verdict on one test: every figure against its mark, and what was seen of the module."""
    failed = [*_seen(findings)]
    held: list[str] = []
    for good, sentence in _against(figures, marks):
        (held if good else failed).append(sentence)
    if failed:
        return Verdict("fail", (*failed, *held))
    if held:
        return Verdict("pass", tuple(held))
    return Verdict("no_mark", (_unmarked(figures, marks),))


def _against(figures: Figures, marks: PassMarks) -> Sequence[tuple[bool, str]]:
    told = []
    if figures.capacity_ah is not None and marks.capacity_ah is not None:
        told.append(_at_least("capacity", figures.capacity_ah, marks.capacity_ah, "Ah"))
        if figures.change_pct is not None:
            told.append(_settled(figures.change_pct, marks.settled_pct))
    if figures.resistance_mohm is not None and marks.resistance_mohm is not None:
        told.append(_at_most("resistance", figures.resistance_mohm, marks.resistance_mohm, "mΩ"))
    if figures.stand_mv_per_day is not None and marks.stand_mv_per_day is not None:
        said, mark = figures.stand_mv_per_day, marks.stand_mv_per_day
        told.append(_at_most("loss at stand", said, mark, "mV a day"))
    return told


def _at_least(what: str, said: float, mark: float, unit: str) -> tuple[bool, str]:
    good = said >= mark
    word = "at or above" if good else "below"
    return good, f"{what.capitalize()} {said:.3g} {unit}, {word} the mark of {mark:g} {unit}."


def _at_most(what: str, said: float, mark: float, unit: str) -> tuple[bool, str]:
    good = said <= mark
    word = "at or below" if good else "above"
    return good, f"{what.capitalize()} {said:.3g} {unit}, {word} the mark of {mark:g} {unit}."


def _settled(change: float, mark: float) -> tuple[bool, str]:
    good = change < mark
    word = "settled, under" if good else "not settled; run another cycle until it is under"
    return good, f"It changed by {change:.1f} % from the cycle before: {word} {mark:g} %."


def _seen(findings: Mapping[str, int]) -> Sequence[str]:
    return [
        f"{name.capitalize()}, {GRADES[grade]}: not to be fitted."
        for name in LOOKED_FOR
        if (grade := findings.get(name, 0)) >= (BAD_VENTING if name == "venting" else BAD_GRADE)
    ]


def _unmarked(figures: Figures, marks: PassMarks) -> str:
    if figures == Figures():
        return "Nothing to be held against a mark came of it."
    return "The pack type sets no mark for this; it is kept and not judged."


def temperature_note(temperature_c: float | None) -> str | None:
    """What the temperature of a capacity test takes away from it, in words."""
    if temperature_c is None:
        return "The temperature was not noted; capacity is asked for at 20 ± 5 °C."
    if CAPACITY_C[0] <= temperature_c <= CAPACITY_C[1]:
        return None
    return f"Measured at {temperature_c:g} °C; capacity is asked for at 20 ± 5 °C."
