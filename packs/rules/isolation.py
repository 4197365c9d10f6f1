"""Isolation of a string from its case: how high it is, whether that will do, where a leak sits.

Two voltages are read one after the other, plus to case and minus to case, and the higher one again
with a known resistor across it. Voltages in V, resistances in ohms, ohms per volt in Ω/V.
"""

import math
from dataclasses import dataclass
from typing import Literal

Verdict = Literal["too_low", "enough_for_dc", "good"]

DC_OHM_PER_V = 100.0
"""Least isolation of a d.c. circuit, Ω/V of working voltage (UN Regulation No. 100, 5.1.3.1)."""

AC_OHM_PER_V = 500.0
"""The same of an a.c. circuit, and of d.c. joined to it without further protection (UN Regulation
No. 100, 5.1.3.1 and 5.1.3.2)."""

METER_OHM = 10e6
"""Least resistance of the voltmeter, Ω (UN Regulation No. 100, annex on isolation, 1.2.1)."""

SUM_SLACK = 0.05
"""By what share the two voltages together may exceed the pack's: meters err, and it was read a
moment earlier. Common practice, no source."""

METER_SLACK = 0.5
"""Share of METER_OHM that a meter must seem to have where two voltages fall short of the pack's;
the readings that tell it err. Common practice, no source."""

LOADED_SHARE = 0.9
"""Share of the pack's voltage that the two make together, below which the meter itself is most of
the path to the case. Common practice, no source."""


@dataclass(frozen=True)
class Voltages:
    """What was read by two voltages: the pack, each side to case, and the higher one again with
    `shunt_ohm` across it; all as magnitudes."""

    pack_v: float
    plus_case_v: float
    minus_case_v: float
    shunted_v: float
    shunt_ohm: float

    @property
    def minus_is_higher(self) -> bool:
        return self.minus_case_v >= self.plus_case_v

    @property
    def higher_v(self) -> float:
        return max(self.plus_case_v, self.minus_case_v)


@dataclass(frozen=True)
class Leak:
    """What the method gives, and what is true where it is one leak inside the string.

    `from_minus` is where that leak sits, as a share of the voltage counted from the minus end.
    """

    isolation_ohm: float
    true_ohm: float
    from_minus: float


@dataclass(frozen=True)
class Place:
    """Where a leak sits: modules from the negative end, and the position, from the positive end.

    `beside` is the second of two positions where it lies on the joint between them.
    """

    from_negative: float
    position: int
    beside: int | None = None


def trouble(read: Voltages) -> tuple[str, str, str] | None:
    """What cannot be about the voltages: field, code and what to do; None where they can be."""
    together = read.plus_case_v + read.minus_case_v
    if together > read.pack_v * (1 + SUM_SLACK):
        return (
            "pack_v",
            "sum_above_pack",
            f"Plus to case and minus to case make {together:g} V together, but the pack has "
            f"{read.pack_v:g} V; read all three again, with the same meter.",
        )
    if read.higher_v == 0:
        return (
            "minus_case_v",
            "nothing_read",
            "Both sides read 0 V to the case, from which nothing follows: a lead is off, or the "
            "isolation is far above what this method sees; check the leads, or use a tester.",
        )
    return _shunt_trouble(read)


def doubt(read: Voltages) -> tuple[str, str, str] | None:
    """What speaks against readings that are about to be stored, beside `trouble`.

    A meter draws both voltages down together. For one leak R to the case they make
    Vb·Rm/(R + Rm), so that what they lack tells the meter's own resistance Rm (identity, no
    source); where that comes out far below what a meter has, one of them was misread.
    """
    for field in ("plus_case_v", "minus_case_v", "shunted_v"):
        if getattr(read, field) < 0:
            return (
                field,
                "below_zero",
                "A voltage to the case is told without its sign: which side was read says it "
                "already. Leave the minus out.",
            )
    problem = trouble(read)
    if problem is not None:
        return problem
    together = read.plus_case_v + read.minus_case_v
    lacking = read.pack_v - together
    if lacking <= SUM_SLACK * read.pack_v or _meter_ohm(read) >= METER_OHM * METER_SLACK:
        return None
    return (
        "pack_v",
        "sum_below_pack",
        f"Plus to case and minus to case make {together:g} V together, {lacking:g} V less than the "
        f"pack's {read.pack_v:g} V, and a meter of {METER_OHM / 1e6:g} MΩ does not take so much; "
        "read all three again, with the same meter.",
    )


def _meter_ohm(read: Voltages) -> float:
    together = read.plus_case_v + read.minus_case_v
    return by_two_voltages(read).true_ohm * together / (read.pack_v - together)


def _shunt_trouble(read: Voltages) -> tuple[str, str, str] | None:
    side = "minus" if read.minus_is_higher else "plus"
    if read.shunted_v > read.higher_v:
        return (
            "shunted_v",
            "shunted_above",
            f"With the resistor from {side} to case the voltage can only fall, but it went from "
            f"{read.higher_v:g} to {read.shunted_v:g} V; put the resistor on the side that reads "
            "higher, and read again.",
        )
    if read.shunted_v == 0:
        return (
            "shunted_v",
            "shunted_to_nothing",
            "With the resistor nothing is left to read, so that no figure follows; take a larger "
            "one (500 Ω for each volt of the pack), or use a tester.",
        )
    return None


def by_two_voltages(read: Voltages) -> Leak:
    """Isolation by the two-voltage method, and the true value and place of a single leak.

    Ri = R0·Vb·(1/V' − 1/V), V the higher of the two and V' the same with R0 across it (UN
    Regulation No. 100, 02 series, annex 4B, 1.2.3). For one leak R at a share x of the string's
    voltage from the far end of V it gives R/x, so R = Ri·x; for two leaks, at the ends, it gives
    the smaller and R is both in parallel (identities, no source). Neither depends on the meter's
    own resistance. Raises ValueError for voltages that `trouble` names.
    """
    problem = trouble(read)
    if problem is not None:
        raise ValueError(problem[2])
    drop = 1 / read.shunted_v - 1 / read.higher_v
    said = read.shunt_ohm * read.pack_v * drop
    together = read.plus_case_v + read.minus_case_v
    return Leak(said, said * read.higher_v / together, read.minus_case_v / together)


def shunt_for(working_v: float) -> float:
    """A resistor that suits a pack of that voltage, Ω: 500 Ω/V, within a fifth (UN Regulation
    No. 100, 02 series, annex 4B, note 1)."""
    return AC_OHM_PER_V * working_v


def meter_loads(read: Voltages) -> bool:
    """Whether the voltmeter is most of the path to the case: the string is then well isolated."""
    return read.plus_case_v + read.minus_case_v < LOADED_SHARE * read.pack_v


def place(from_minus: float, module_count: int) -> Place:
    """The position of a leak in a string of equal modules; position 1 is at the positive end."""
    from_negative = from_minus * module_count
    from_positive = module_count - from_negative
    whole = round(from_positive)
    if 0 < whole < module_count and math.isclose(from_positive, whole, abs_tol=1e-6):
        return Place(from_negative, whole, whole + 1)
    return Place(from_negative, min(max(math.ceil(from_positive - 1e-6), 1), module_count))


def verdict(ohm_per_v: float) -> Verdict:
    """What that much will do for."""
    if ohm_per_v < DC_OHM_PER_V:
        return "too_low"
    return "enough_for_dc" if ohm_per_v < AC_OHM_PER_V else "good"


def asked_ohm_per_v(scope: str) -> float:
    """What is asked for: in the car the a.c. side is joined, else it is the pack alone."""
    return AC_OHM_PER_V if scope == "in_car" else DC_OHM_PER_V
