"""The junction board: pre-charge, and what a fuse, a contactor or a sensor must stand.

Volts, amperes, ohms, farads, seconds and joules unless a name says otherwise.
"""

import math
from dataclasses import dataclass

CHARGED = 0.95
"""Share of the pack's voltage on the bus at which the main contactor may close. Common practice,
no source; 90 and 98 % are met as well."""

NEARLY = 0.99
"""The share for the second time that is told."""

TOLERANCE_PCT = 10.0
"""How far a coil or a resistor may be off its rating, %, where nobody says. Common practice, no
source."""

OFFSET_A = 1.0
"""What a current sensor may show with nothing flowing, A, where nobody says. Common practice, no
source."""

TEMPERATURE_OFF_C = 3.0
"""How far a temperature sensor may be off a thermometer, °C, where nobody says. Common practice,
no source."""

DAY_H = 24.0


@dataclass(frozen=True)
class Precharge:
    """How the bus fills through the resistor, and what it takes.

    `inrush_bare_a` is what would flow without the resistor; None where the pack's own resistance
    is not known.
    """

    tau_s: float
    t95_s: float
    t99_s: float
    inrush_a: float
    inrush_bare_a: float | None
    energy_j: float
    peak_w: float


def precharge(
    pack_v: float,
    resistance_ohm: float,
    capacitance_f: float,
    pack_resistance_ohm: float | None = None,
) -> Precharge:
    """Charging a capacitor from a pack through a resistor: tau = RC, I = V/R, and ½CV² in the
    resistor whatever its size. Arithmetic of an RC circuit, no source."""
    tau = resistance_ohm * capacitance_f
    return Precharge(
        tau_s=tau,
        t95_s=tau * time_constants(CHARGED),
        t99_s=tau * time_constants(NEARLY),
        inrush_a=pack_v / resistance_ohm,
        inrush_bare_a=pack_v / pack_resistance_ohm if pack_resistance_ohm else None,
        energy_j=stored_j(pack_v, capacitance_f),
        peak_w=pack_v**2 / resistance_ohm,
    )


def stored_j(volts: float, capacitance_f: float) -> float:
    """½CV²: what the bus holds when full, and what its resistor takes to fill it, J."""
    return capacitance_f * volts**2 / 2


def time_constants(share: float) -> float:
    """How many time constants it takes to that share of the voltage: −ln(1 − share)."""
    return -math.log1p(-share)


def largest_resistor(within_s: float, share: float, capacitance_f: float) -> float:
    """The largest resistor that brings the bus to that share in time, Ω."""
    return within_s / (time_constants(share) * capacitance_f)


def bleed_s(from_v: float, to_v: float, tau_s: float) -> float:
    """How long a bus takes to fall from one voltage to another through its own resistor, s."""
    return tau_s * math.log(from_v / to_v)


def short_circuit_a(pack_v: float, pack_resistance_ohm: float) -> float:
    """What flows into a dead short: V/R, which the fuse and contactors must break, A."""
    return pack_v / pack_resistance_ohm


def offset_ah_a_day(offset_a: float) -> float:
    """What an offset counts as charge in a day on which nothing flows, Ah."""
    return offset_a * DAY_H
