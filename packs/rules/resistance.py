"""D.c. resistance of a module: from two currents, or from a pulse in a series.

A resistance says little without its pulse length: after ten seconds a cell shows a quarter more
than after half a second, so figures of one method and length are compared with one another alone.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from packs.rules.reference import MAX_STEP, resistance_factor

Floats = NDArray[np.float64]

TWO_STEP, PULSE, AS_READ = "two_step", "pulse", "as_read"
METHODS = {
    TWO_STEP: "two currents, one after the other",
    PULSE: "a pulse from rest or another current",
    AS_READ: "as the instrument read it",
}

TWO_STEP_FIRST_IT, TWO_STEP_FIRST_S, TWO_STEP_SECOND_S = 0.2, 10.0, 3.0
"""The two-step method: 0.2 It, read after 10 s; a higher current at once, read after 3 s
(IEC 61951-2, measurement of the internal d.c. resistance)."""

LEAST_STEP_A = 0.5
"""Difference of the two currents, A, below which a workshop meter's last digit is the figure.
Common practice, no source."""

LEAST_STEP_SHARE = 0.1
"""The same as a share of the larger current. Common practice, no source."""

HIGHEST_MOHM = 10_000.0
"""Beyond this it is an open joint and no module. Common practice, no source."""

STEADY_SHARE = 0.1
"""Share of a step by which the current may move while the pulse is read. Common practice, no
source."""

STEP_SHARE = 0.5
"""Share of the largest step of a series from which another counts as a pulse. Common practice, no
source."""

ALIKE_SHARE = 0.25
"""Share by which pulse lengths may differ and still be compared. Common practice, no source."""

SOURCED = frozenset({"li_ion"})
"""Chemistries whose temperature coefficient has a source: packs.rules.reference.ACTIVATION_EV."""


@dataclass(frozen=True)
class Pulses:
    """The resistance of the pulses of a series, mΩ: their median, and how many there were."""

    mohm: float
    pulses: int
    delta_a: float


def between(u1_v: float, i1_a: float, u2_v: float, i2_a: float) -> float:
    """(U1 − U2)/(I2 − I1), mΩ: of two currents or of a pulse (IEC 61951-2; the same ΔV/ΔI)."""
    return (u1_v - u2_v) / (i2_a - i1_a) * 1000


def step_problem(i1_a: float, i2_a: float) -> str | None:
    """Why two currents give no resistance, in words; None where they do."""
    step, largest = abs(i2_a - i1_a), max(abs(i1_a), abs(i2_a))
    if step >= LEAST_STEP_A and step >= LEAST_STEP_SHARE * largest:
        return None
    return (
        f"i1_a and i2_a differ by {step:.3g} A; between currents so near to each other the last "
        f"digit of the meter is the figure. Let them differ by {LEAST_STEP_A:g} A and a tenth."
    )


def sign_problem(mohm: float) -> str | None:
    """Why a figure is no resistance, in words; None where it can be one."""
    if 0 < mohm <= HIGHEST_MOHM:
        return None
    if mohm > HIGHEST_MOHM:
        return f"{mohm:.4g} mΩ is an open joint and no module; look at the clamps and the units."
    return (
        f"It would be {mohm:.3g} mΩ: the voltage must fall where the current out of the module "
        "rises. Look at the sign of the currents, and at which reading is which."
    )


def of_pulses(
    seconds: Floats, current_a: Floats, voltage_v: Floats, pulse_s: float
) -> Pulses | None:
    """The median ΔV/ΔI of the pulses of a series, read `pulse_s` after each began.

    Before a pulse: the last reading ahead of the step; after: linear between the readings around.
    A pulse that is shorter or not steady is left out, and so is its end, where the current falls
    back; None where none is left.
    """
    steps = np.abs(np.diff(current_a))
    rises = np.diff(np.abs(current_a)) > 0
    largest = float(steps.max(initial=0.0))
    if largest < LEAST_STEP_A:
        return None
    found = []
    for at in np.flatnonzero((steps >= STEP_SHARE * largest) & rises).tolist():
        told = _pulse(seconds, current_a, voltage_v, at, pulse_s)
        if told is not None:
            found.append(told)
    if not found:
        return None
    figures = [mohm for mohm, _ in found]
    return Pulses(float(np.median(figures)), len(found), float(np.median([a for _, a in found])))


def _pulse(
    seconds: Floats, current_a: Floats, voltage_v: Floats, at: int, pulse_s: float
) -> tuple[float, float] | None:
    """Resistance and step of the pulse that begins after reading `at`, if it is steady."""
    until = float(seconds[at]) + pulse_s
    last = int(np.searchsorted(seconds, until, side="left"))
    if last >= seconds.size or last <= at:
        return None
    step = float(current_a[at + 1] - current_a[at])
    held = current_a[at + 1 : last + 1]
    if abs(step) < LEAST_STEP_A or float(np.ptp(held)) > STEADY_SHARE * abs(step):
        return None
    read_v = float(np.interp(until, seconds[at + 1 : last + 1], voltage_v[at + 1 : last + 1]))
    mohm = (float(voltage_v[at]) - read_v) / step * 1000
    return (mohm, abs(step)) if mohm > 0 else None


@dataclass(frozen=True)
class Corrected:
    """A resistance at the reference temperature, mΩ, or None, and what was or was not done."""

    mohm: float | None
    note: str


def at_temperature(
    mohm: float,
    temperature_c: float | None,
    reference_c: float,
    chemistry: str | None,
    activation_ev: float | None,
) -> Corrected:
    """A resistance brought to the reference temperature where a sourced coefficient exists."""
    if temperature_c is None:
        return Corrected(None, "The temperature was not noted; not brought to a reference.")
    if chemistry not in SOURCED or activation_ev is None:
        return Corrected(None, "No published temperature coefficient is known; left as measured.")
    factor = float(resistance_factor(temperature_c, reference_c, activation_ev))
    if not 1 / MAX_STEP <= factor <= MAX_STEP:
        told = f"{temperature_c:g} °C is too far from {reference_c:g} °C to be brought there."
        return Corrected(None, told)
    told = f"Brought from {temperature_c:g} to {reference_c:g} °C (divided by {factor:.3f})."
    return Corrected(mohm / factor, told)


def are_alike(one_s: float | None, other_s: float | None) -> bool:
    """Whether figures of these pulse lengths may be compared."""
    if one_s is None or other_s is None:
        return one_s == other_s
    return abs(one_s - other_s) <= ALIKE_SHARE * max(one_s, other_s)
