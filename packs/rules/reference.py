"""A load check brought to the reference current and temperature.

Scaling a range is wrong, since the position that is lowest changes with the current: each
position is brought to the reference by its own resistance first, and then the range is taken.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from packs.rules.noise import medians, ranges

Floats = NDArray[np.float64]

COMPARABLE_CURRENT = 0.10
"""Share of the reference current within which a load check without a rest pair is compared as
it stands. Common practice, no source."""

MAX_STEP = 1.5
"""How many times, up or down, a check may be brought in current or in temperature factor.
Common practice, no source."""

MIN_POSITIONS = 3
"""Positions needed at the reference before a range is told. Common practice, no source."""

MAX_REST_SHARE = 0.5
"""Rest current as a share of the load current above which the two lie too close together to
give a resistance. Common practice, no source."""

BOLTZMANN_EV_K = 8.617333262e-5
"""Boltzmann constant, eV/K (CODATA 2018)."""

ZERO_CELSIUS_K = 273.15
"""0 °C in kelvin (SI)."""

ACTIVATION_EV = {"nimh": 0.12, "li_ion": 0.13}
"""Activation energy, eV, of the d.c. resistance by chemistry.

li_ion: least squares of ln R on 1/T through 3.20, 2.03 and 1.93 mΩ at 10, 25 and 40 °C, ten-second
pulses at mid charge on a 33 Ah traction cell (Wiggins, Allu, Wang 2019, doi
10.5281/zenodo.2580327). The three do not lie on one line: 10 to 25 °C alone gives 0.22 eV, 25 to
40 °C 0.03 eV.
nimh: an assumption, about half as much resistance again at 0 °C as at 25 °C; no published
coefficient was found. Common practice, no source."""

_ROUNDING = 1 + 1e-9
_PAIRED, _ALONE, _NO_PAIR, _STEP, _HEAT = range(5)


@dataclass(frozen=True)
class Comparable:
    """A load check at the reference: range in V, or why there is none, in words; what was done
    to get there; and the voltages at the reference, shape (p,), NaN where a position had no pair.
    """

    spread_v: float | None
    why_not: str | None
    notes: tuple[str, ...]
    voltages_v: Floats | None


@dataclass(frozen=True)
class _Checks:
    """n checks of p positions: voltages (n, p) V, currents (n,) A, resistance factors (n,)."""

    load_v: Floats
    load_a: Floats
    rest_v: Floats
    rest_a: Floats
    factor: Floats
    reference_a: float


def resistance_factor(
    temperature_c: Floats | float, reference_c: float, activation_ev: float
) -> Floats:
    """Resistance at `temperature_c` over that at `reference_c` (both °C): above 1 in the cold.

    Arrhenius, exp[(ΔH/k)(1/T − 1/T_ref)], NIST/SEMATECH e-Handbook of Statistical Methods,
    8.1.5.1. NaN for NaN. Scalars give an array of shape ().
    """
    kelvin = np.asarray(temperature_c, dtype=np.float64) + ZERO_CELSIUS_K
    inverse = 1 / kelvin - 1 / (reference_c + ZERO_CELSIUS_K)
    factor: Floats = np.asarray(np.exp(activation_ev / BOLTZMANN_EV_K * inverse))
    return factor


def at_reference(
    load_v: Floats,
    load_current_a: float,
    rest_v: Floats | None,
    rest_current_a: float,
    reference_a: float,
    temperature_c: float | None,
    reference_c: float,
    activation_ev: float,
) -> Comparable:
    """One load check, shape (p,), brought to the reference: `at_reference_many`, with words.

    `rest_v` None: no pair, and `rest_current_a` is not looked at.
    """
    heat_c = reference_c if temperature_c is None else temperature_c
    factor = float(resistance_factor(heat_c, reference_c, activation_ev))
    checks = _Checks(
        load_v[None],
        np.array([load_current_a]),
        np.full((1, load_v.size), np.nan) if rest_v is None else rest_v[None],
        np.array([0.0 if rest_v is None else rest_current_a]),
        np.array([factor]),
        reference_a,
    )
    verdict, brought = _bring(checks)
    heat = _heat_words(temperature_c, reference_c, factor)
    if verdict[0] == _HEAT:
        return Comparable(None, _too_far_in_heat(heat), (), None)
    if verdict[0] > _ALONE:
        return Comparable(None, _why_not(int(verdict[0]), checks), (), None)
    notes = (_current_words(int(verdict[0]), checks), *_left_out(load_v, brought[0]), *heat)
    return Comparable(float(ranges(brought)[0]), None, notes, brought[0])


def at_reference_many(
    load_v: Floats,
    load_current_a: Floats,
    rest_v: Floats,
    rest_current_a: Floats,
    temperature_c: Floats,
    reference_a: float,
    reference_c: float,
    activation_ev: float,
) -> tuple[Floats, Floats]:
    """Load checks brought to the reference current, A, and temperature, °C.

    `load_v`, `rest_v` (n, p) V, a row of `rest_v` NaN where the check has no pair;
    `load_current_a`, `rest_current_a`, `temperature_c` (n,), NaN where not known. Returns the
    ranges (n,) and voltages (n, p) at the reference, V, NaN where the check is not comparable.

    With a pair each position's resistance is (rest − load)/(load current − rest current), and
    rest + R·rest current − R/factor·reference is its voltage at the reference. Without one, and
    the current within COMPARABLE_CURRENT, distances from the median are divided by the factor.
    A missing temperature counts as the reference. By more than MAX_STEP nothing is brought.
    """
    known_c = np.where(np.isnan(temperature_c), reference_c, temperature_c)
    factor = resistance_factor(known_c, reference_c, activation_ev)
    _, brought = _bring(
        _Checks(load_v, load_current_a, rest_v, rest_current_a, factor, reference_a)
    )
    return ranges(brought), brought


def _bring(checks: _Checks) -> tuple[NDArray[np.int64], Floats]:
    """The way each check goes, (n,), and its voltages at the reference, (n, p)."""
    verdict = _judge(checks)
    alone, paired = (verdict == _ALONE)[:, None], (verdict == _PAIRED)[:, None]
    brought = np.where(alone, _by_deviation(checks), np.nan)
    return verdict, np.where(paired, _by_resistance(checks), brought)


def _by_deviation(checks: _Checks) -> Floats:
    middle = medians(checks.load_v)[:, None]
    moved: Floats = middle + (checks.load_v - middle) / checks.factor[:, None]
    return moved


def _by_resistance(checks: _Checks) -> Floats:
    step_a = checks.load_a - checks.rest_a
    ohms = (checks.rest_v - checks.load_v) / np.where(step_a > 0, step_a, np.nan)[:, None]
    moved: Floats = (
        checks.rest_v + ohms * (checks.rest_a - checks.reference_a / checks.factor)[:, None]
    )
    return moved


def _judge(checks: _Checks) -> NDArray[np.int64]:
    load_a, reference_a = checks.load_a, checks.reference_a
    both = ~np.isnan(checks.load_v - checks.rest_v)
    paired = np.count_nonzero(both, axis=1) >= MIN_POSITIONS
    paired &= (load_a > 0) & (np.abs(checks.rest_a) <= MAX_REST_SHARE * load_a)
    alone = np.abs(load_a - reference_a) <= COMPARABLE_CURRENT * reference_a * _ROUNDING
    with_pair = np.where(_within(load_a, reference_a), _PAIRED, _STEP)
    verdict = np.where(paired, with_pair, np.where(alone, _ALONE, _NO_PAIR))
    return np.where(_within(checks.factor, 1.0), verdict, _HEAT)


def _within(measured: Floats, reference: float) -> NDArray[np.bool_]:
    limit = MAX_STEP * _ROUNDING
    return (measured <= reference * limit) & (reference <= measured * limit)


def _why_not(verdict: int, checks: _Checks) -> str:
    load_a, reference_a = float(checks.load_a[0]), checks.reference_a
    if verdict == _STEP:
        step = max(load_a / reference_a, reference_a / load_a)
        return (
            f"taken at {load_a:g} A, {step:.2f} times off the reference {reference_a:g} A; "
            f"by more than {MAX_STEP:g} times nothing is compared"
        )
    unpaired = bool(np.isnan(checks.rest_v).all())
    pair = "no rest check pairs with it" if unpaired else "its rest check is too little help"
    return (
        f"{pair}, and its {load_a:g} A is over a tenth off the reference {reference_a:g} A; "
        "a rest check taken in the same go would make it comparable"
    )


def _too_far_in_heat(heat: tuple[str, ...]) -> str:
    return f"{'; '.join(heat)}; by more than {MAX_STEP:g} times either way nothing is compared"


def _current_words(verdict: int, checks: _Checks) -> str:
    load_a, reference_a = float(checks.load_a[0]), checks.reference_a
    if verdict == _ALONE:
        return (
            f"no rest pair: {load_a:g} A is within a tenth of the reference {reference_a:g} A, "
            "and the current was not corrected"
        )
    return (
        f"each position brought from {load_a:g} A to {reference_a:g} A by its own resistance, "
        "known from the rest check"
    )


def _left_out(load_v: Floats, brought: Floats) -> tuple[str, ...]:
    lost = np.flatnonzero(np.isnan(brought) & ~np.isnan(load_v)) + 1
    if not lost.size:
        return ()
    return (f"left out, not readable at rest: position {', '.join(map(str, lost.tolist()))}",)


def _heat_words(temperature_c: float | None, reference_c: float, factor: float) -> tuple[str, ...]:
    if temperature_c is None:
        return (f"no temperature: compared as if at {reference_c:g} °C",)
    if temperature_c == reference_c:
        return ()
    return (
        f"taken at {temperature_c:g} °C, where resistance is {factor:.2f} times that at the "
        f"reference {reference_c:g} °C",
    )
