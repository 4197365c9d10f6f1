"""Each half alone against the sum of its modules, before the service switch joins them.

A half that is short by twice one module's voltage has that module the wrong way round; one that
is short under load only has a poor joint. Compared with the modules' own rest voltages, never
with the nominal one: a healthy nickel-metal-hydride cell rests above it.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import sqrt
from statistics import median
from typing import Literal

from packs.rules.plausible import ZERO_V

Kind = Literal["agrees", "reversed", "joint", "high", "disagrees"]

NOISE_V = 0.02
"""Standard deviation of one reading with a meter at a module's terminals, V. Common practice,
no source."""

SURE_Z = 3.0
"""Standard deviations of the sum within which it agrees. Common practice, no source."""

SHARE = 0.003
"""What a meter that changes its range between a module and a half may be off, as a share of the
sum. Common practice, no source."""

TURNED_SHARE = 0.1
"""How far a block's reading may be off what turned modules leave of it, as a share of its healthy
reading. Common practice, no source."""

FITS_SAID = 6  # positions named one by one in a sentence


@dataclass(frozen=True)
class Reading:
    """The rest voltage of one module, V, or of a block of `modules` from position `first` on."""

    first: int
    modules: int
    volts: float

    @property
    def name(self) -> str:
        last = self.first + self.modules - 1
        return f"module {self.first}" if self.modules == 1 else f"block {self.first} to {last}"

    @property
    def turned_v(self) -> float:
        """What the sum loses when one module of it stands the wrong way round, V."""
        return 2 * self.volts / self.modules


@dataclass(frozen=True)
class Load:
    """The half under a current: V at A, and what its modules may have themselves, mΩ (None: not
    known); the heat is told for `heat_at_a`."""

    volts: float
    current_a: float
    own_mohm: float | None
    heat_at_a: float


@dataclass(frozen=True)
class Verdict:
    """What a half's voltage says, in V; `fits` are the first positions of what may be turned."""

    kind: Kind
    sum_v: float
    measured_v: float
    tolerance_v: float
    said: str
    fits: tuple[int, ...] = ()
    turned: int = 0
    joint_mohm: float | None = None
    heat_w: float | None = None

    @property
    def short_v(self) -> float:
        return self.sum_v - self.measured_v


def judge(
    readings: Sequence[Reading],
    rest_v: float,
    load: Load | None = None,
    noise_v: float = NOISE_V,
) -> Verdict:
    """What a half alone shows: `rest_v` without current, `load` where it was loaded as well.

    Raises ValueError without readings. The pattern is an identity of a series string: one module
    of v turned changes its sum by 2·v.
    """
    if not readings:
        raise ValueError("A half is judged against the rest voltages of its modules.")
    turned = _read_turned(readings)
    if turned:
        return _verdict("reversed", readings, rest_v, noise_v, _said_read(turned), turned)
    short, room = _sum(readings) - rest_v, tolerance_v(readings, noise_v)
    if short < -room:
        return _verdict("high", readings, rest_v, noise_v, _said_high(-short))
    if short > room:
        return _short(readings, rest_v, short, noise_v)
    return _agreeing(readings, rest_v, load, noise_v)


def tolerance_v(readings: Sequence[Reading], noise_v: float = NOISE_V) -> float:
    """How far the sum may be off the half's own reading, V."""
    scatter = SURE_Z * noise_v * sqrt(len(readings) + 1)
    return scatter + SHARE * sum(abs(reading.volts) for reading in readings)


def heat_w(resistance_mohm: float, current_a: float) -> float:
    """Heat in a resistance, W: I²·R."""
    return current_a**2 * resistance_mohm / 1000


def _sum(readings: Sequence[Reading]) -> float:
    return sum(reading.volts for reading in readings)


def _read_turned(readings: Sequence[Reading]) -> tuple[Reading, ...]:
    """Those whose own reading shows it: below zero, or a block with as much taken off."""
    each = median(abs(reading.volts) / reading.modules for reading in readings)
    return tuple(reading for reading in readings if _shows_turned(reading, each))


def _shows_turned(reading: Reading, each_v: float) -> bool:
    if reading.modules == 1 or each_v <= ZERO_V:
        return reading.volts < -ZERO_V
    healthy = each_v * reading.modules
    count = round((healthy - reading.volts) / (2 * each_v))
    left = abs(healthy - reading.volts - 2 * each_v * count)
    return count >= 1 and left <= TURNED_SHARE * healthy


def _short(readings: Sequence[Reading], rest_v: float, short: float, noise_v: float) -> Verdict:
    room = tolerance_v(readings, noise_v)
    single = tuple(one for one in readings if abs(short - one.turned_v) <= room)
    if single:
        told = _said_turned(short, single)
        return _verdict("reversed", readings, rest_v, noise_v, told, single, turned=1)
    count = _turned_count(readings, short, room)
    if count:
        told = (
            f"Short by {short:.2f} V, twice the voltage of {count} modules: {count} stand the "
            "wrong way round. Measure each at its own terminals before anything is joined."
        )
        return _verdict("reversed", readings, rest_v, noise_v, told, turned=count)
    told = (
        f"Short by {short:.2f} V, which is not twice any module's voltage: a reading is old or "
        "wrong, or a joint is open. Measure each module again, then the half."
    )
    return _verdict("disagrees", readings, rest_v, noise_v, told)


def _turned_count(readings: Sequence[Reading], short: float, room: float) -> int:
    """How many turned modules lose that much, two or more; 0 where no number does."""
    losses = sorted(one.turned_v for one in readings for _ in range(one.modules))
    for count in range(2, len(losses) + 1):
        if sum(losses[:count]) - room <= short <= sum(losses[-count:]) + room:
            return count
    return 0


def _said_turned(short: float, fits: Sequence[Reading]) -> str:
    names = [one.name for one in fits]
    if len(names) == 1:
        who = f"{names[0][0].upper()}{names[0][1:]}: it stands the wrong way round"
    elif len(names) <= FITS_SAID:
        who = f"One of {', '.join(names)} stands the wrong way round"
    else:
        who = f"One of {len(names)} modules or blocks that fit stands the wrong way round"
    if len(names) == 1 and fits[0].modules > 1:
        who = f"One module of {names[0]} stands the wrong way round"
    return (
        f"Short by {short:.2f} V, twice one module's voltage. {who}. Open the half again, measure "
        "each at its own terminals, and turn the one that reads below zero."
    )


def _said_read(turned: Sequence[Reading]) -> str:
    told = ", ".join(f"{one.name} ({one.volts:.2f} V)" for one in turned)
    return (
        f"The wrong way round by its own reading: {told}. Open the half again, turn it, and "
        "measure it again."
    )


def _said_high(by_v: float) -> str:
    return (
        f"The half shows {by_v:.2f} V more than its modules sum to: a module's reading is old or "
        "wrong. Measure each module again, then the half."
    )


def _agreeing(
    readings: Sequence[Reading], rest_v: float, load: Load | None, noise_v: float
) -> Verdict:
    alone = f"{rest_v:.2f} V, and its modules sum to {_sum(readings):.2f} V: they agree"
    if load is None:
        return _verdict("agrees", readings, rest_v, noise_v, f"{alone}.")
    whole_mohm = (rest_v - load.volts) / load.current_a * 1000
    if load.own_mohm is None:
        told = (
            f"{alone}. Under {load.current_a:g} A it falls by {whole_mohm:.1f} mΩ, modules and "
            "joints together; what the modules have themselves is not known for the type."
        )
        return _verdict("agrees", readings, rest_v, noise_v, told)
    excess = whole_mohm - load.own_mohm
    if excess / 1000 * load.current_a <= SURE_Z * noise_v * sqrt(2):
        told = (
            f"{alone}. Under {load.current_a:g} A it falls by {whole_mohm:.1f} mΩ; modules at the "
            f"pass mark may have {load.own_mohm:.1f} mΩ together, so a poor joint that fits in "
            "between does not show here. Measure the drop across each bus bar under load."
        )
        return _verdict("agrees", readings, rest_v, noise_v, told)
    return _poor_joint(readings, rest_v, load, excess, noise_v)


def _poor_joint(
    readings: Sequence[Reading], rest_v: float, load: Load, excess: float, noise_v: float
) -> Verdict:
    heat = heat_w(excess, load.heat_at_a)
    told = (
        f"It agrees at rest and is short under {load.current_a:g} A: a joint of about "
        f"{excess:.1f} mΩ too much, {heat:.0f} W of heat at {load.heat_at_a:g} A. Measure the drop "
        "across each bus bar under load; clean and tighten the joint that shows it."
    )
    found = _verdict("joint", readings, rest_v, noise_v, told)
    return replace(found, joint_mohm=excess, heat_w=heat)


def _verdict(
    kind: Kind,
    readings: Sequence[Reading],
    rest_v: float,
    noise_v: float,
    said: str,
    fits: Sequence[Reading] = (),
    turned: int | None = None,
) -> Verdict:
    return Verdict(
        kind=kind,
        sum_v=_sum(readings),
        measured_v=rest_v,
        tolerance_v=tolerance_v(readings, noise_v),
        said=said,
        fits=tuple(one.first for one in fits),
        turned=len(fits) if turned is None else turned,
    )
