"""How the made-up packs age: resistance and capacity that creep with time and heat.

Pure functions of arrays. Every figure of a type lies in fixtures/nature.json and is invented to
look like the trade's; none is measured. An element is what has a resistance of its own: a module
of nickel-metal-hydride cells, or one lithium-ion cell. Days count from the day that the shop was
set up, so that the past is negative.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

YEAR_DAYS = 365.25  # d; the Julian year, by definition
BOLTZMANN_EV_K = 8.617333262e-5  # Boltzmann constant, eV/K (CODATA 2018)
ZERO_CELSIUS_K = 273.15  # 0 °C in kelvin (SI)
REFERENCE_C = 25.0  # the temperature that resistances and ageing are told for
COLDEST_DAY = 15.0  # day of the year, northern winter; assumption
NEVER = np.inf
SCAN_DAYS = 2.0  # how finely a failure is looked for, d
USE_SD = 0.55  # of the logarithm of how hard an owner uses a pack; assumption
LEAST_SHARE = 0.02  # of the charge: no element is told emptier than this


@dataclass(frozen=True)
class Nature:
    """What a type is made of. Volts and milliohms are of one cell, years at REFERENCE_C."""

    modules: int
    elements_per_module: int
    cells_per_element: int
    cell_mohm: float
    cell_ah: float
    empty_v: float
    full_v: float
    maker_sd: float
    wear_per_year: float
    wear_sd: float
    wear_power: float
    fade_per_year: float
    fade_sd: float
    lost_cells_per_year: float
    ageing_ev: float
    resistance_ev: float
    middle_rise_c: float
    hard_a: float
    hard_soc: float
    cut_off_cell_v: float

    @property
    def elements(self) -> int:
        return self.modules * self.elements_per_module


@dataclass(frozen=True, eq=False)
class Elements:
    """The elements of a pack, each (u,): new resistance mΩ, capacity Ah, rates, age when fitted."""

    new_mohm: Floats
    new_ah: Floats
    wear: Floats
    fade: Floats
    aged_years: Floats
    fitted_day: Floats
    lost_day: Floats


@dataclass(frozen=True)
class Stock:
    """Where elements come from: years that they have aged, and how fast they wear beside new."""

    aged_years: float = 0.0
    wear_times: float = 1.0


@dataclass(frozen=True, eq=False)
class Condition:
    """A pack with all that is wrong with it.

    joint_day (u,) day from which the joint beside an element loosens, joint_mohm_per_year (u,).
    heat_c is how much warmer than the season this pack runs, as its owner drives it.
    """

    nature: Nature
    elements: Elements
    joint_day: Floats
    joint_mohm_per_year: Floats
    heat_c: float
    hard_a: float


@dataclass(frozen=True, eq=False)
class Drive:
    """How a pack is loaded at each instant: day, amperes, °C, charge 0 to 1; each (n,)."""

    day: Floats
    current_a: Floats
    temperature_c: Floats
    soc: Floats


def arrhenius(temperature_c: Floats | float, activation_ev: float) -> Floats:
    """How many times faster than at REFERENCE_C a heat-driven change goes.

    exp[(E/k)(1/T_ref − 1/T)], NIST/SEMATECH e-Handbook of Statistical Methods, 8.1.5.1.
    """
    kelvin = np.asarray(temperature_c, dtype=np.float64) + ZERO_CELSIUS_K
    inverse = 1 / (REFERENCE_C + ZERO_CELSIUS_K) - 1 / kelvin
    faster: Floats = np.exp(activation_ev / BOLTZMANN_EV_K * inverse)
    return faster


def season_c(day: Floats, *, day_of_year: int, mean_c: float, swing_c: float) -> Floats:
    """Air temperature of a day, °C: a yearly wave, coldest in the middle of January."""
    phase = 2 * np.pi * (day + day_of_year - COLDEST_DAY) / YEAR_DAYS
    air: Floats = mean_c - swing_c * np.cos(phase)
    return air


def place_rise_c(nature: Nature) -> Floats:
    """(u,) °C by which each element runs warmer than the ends of the pack: most in the middle."""
    module = np.arange(nature.modules) / max(nature.modules - 1, 1)
    rise = nature.middle_rise_c * (1 - (2 * module - 1) ** 2)
    return np.repeat(rise, nature.elements_per_module)


def make_elements(
    nature: Nature, rng: np.random.Generator, *, fitted_day: float, stock: Stock
) -> Elements:
    """Elements for a whole pack, with the spread of their making."""
    count, cells = nature.elements, nature.cells_per_element
    loss = nature.lost_cells_per_year * stock.wear_times
    wait = rng.exponential(YEAR_DAYS / loss, count) if loss > 0 else np.full(count, NEVER)
    return Elements(
        new_mohm=cells * nature.cell_mohm * rng.normal(1.0, nature.maker_sd, count),
        new_ah=nature.cell_ah * rng.normal(1.0, nature.maker_sd, count),
        wear=nature.wear_per_year * stock.wear_times * rng.lognormal(0.0, nature.wear_sd, count),
        fade=nature.fade_per_year * stock.wear_times * rng.lognormal(0.0, nature.fade_sd, count),
        aged_years=np.full(count, stock.aged_years),
        fitted_day=np.full(count, fitted_day),
        lost_day=fitted_day + wait,
    )


def make_pack(
    nature: Nature, rng: np.random.Generator, *, built_day: float, first_day: float
) -> Condition:
    """A pack as it was built; cells lost before the shop first saw it are not counted."""
    elements = make_elements(nature, rng, fitted_day=built_day, stock=Stock())
    early = elements.lost_day < first_day
    used = replace(
        elements,
        wear=elements.wear * rng.lognormal(0.0, USE_SD),
        lost_day=np.where(early, NEVER, elements.lost_day),
    )
    return Condition(
        nature=nature,
        elements=used,
        joint_day=np.full(nature.elements, NEVER),
        joint_mohm_per_year=np.zeros(nature.elements),
        heat_c=float(rng.normal(0.0, 3.0)),
        hard_a=nature.hard_a * float(rng.normal(1.0, 0.07)),
    )


def heat_years(pack: Condition, day: Floats) -> Floats:
    """(n, u) years at REFERENCE_C that each element has aged by each day; heat makes more."""
    elements, nature = pack.elements, pack.nature
    faster = arrhenius(REFERENCE_C + pack.heat_c + place_rise_c(nature), nature.ageing_ev)
    here = np.maximum(day[:, None] - elements.fitted_day, 0.0) / YEAR_DAYS
    aged: Floats = elements.aged_years + here * faster
    return aged


def resistance_mohm(pack: Condition, day: Floats) -> Floats:
    """(n, u) resistance of each element at REFERENCE_C, mΩ: rises by a power of its heat years."""
    elements = pack.elements
    grown = elements.wear * heat_years(pack, day) ** pack.nature.wear_power
    risen: Floats = elements.new_mohm * (1 + grown)
    return risen


def capacity_ah(pack: Condition, day: Floats) -> Floats:
    """(n, u) capacity of each element, Ah: fades evenly with its heat years."""
    left = 1 - pack.elements.fade * heat_years(pack, day)
    told: Floats = pack.elements.new_ah * np.maximum(left, 0.2)
    return told


def joint_mohm(pack: Condition, day: Floats) -> Floats:
    """(n, u) resistance of loosening joints, mΩ: nothing until the day that each begins."""
    begun = np.where(np.isfinite(pack.joint_day), pack.joint_day, 0.0)
    years = np.maximum(day[:, None] - begun, 0.0) / YEAR_DAYS
    told: Floats = np.where(np.isfinite(pack.joint_day), years * pack.joint_mohm_per_year, 0.0)
    return told


def voltages(pack: Condition, drive: Drive) -> Floats:
    """(n, u) true voltage of each element with its joint, V.

    One series current: an element of less capacity is emptier at the same charge drawn.
    """
    nature, day = pack.nature, drive.day
    capacity = capacity_ah(pack, day)
    drawn = (1 - drive.soc[:, None]) * np.median(capacity, axis=1, keepdims=True)
    soc = np.clip(1 - drawn / capacity, LEAST_SHARE, 1.0)
    cells = nature.cells_per_element - (day[:, None] >= pack.elements.lost_day)
    open_v = cells * (nature.empty_v + (nature.full_v - nature.empty_v) * soc)
    slower = 1 / arrhenius(drive.temperature_c, nature.resistance_ev)[:, None]
    mohm = resistance_mohm(pack, day) * slower + joint_mohm(pack, day)
    told: Floats = open_v - drive.current_a[:, None] * mohm / 1000
    return told


@dataclass(frozen=True)
class Breakdown:
    """The day a pack gave up under a hard load on the road, at which element, and why."""

    day: float
    element: int
    cause: str


def breakdown(
    pack: Condition, *, after: float, before: float, day_of_year: int
) -> Breakdown | None:
    """The first day on which the weakest element sags below the cut-off under a hard load."""
    day = np.arange(after, before, SCAN_DAYS)
    if not day.size:
        return None
    nature = pack.nature
    air = season_c(day, day_of_year=day_of_year, mean_c=14.0, swing_c=11.0)
    drive = Drive(
        day=day,
        current_a=np.full(day.size, pack.hard_a),
        temperature_c=np.maximum(air, 0.0) + pack.heat_c,
        soc=np.full(day.size, nature.hard_soc),
    )
    sagged = voltages(pack, drive) < nature.cut_off_cell_v * nature.cells_per_element
    when = sagged.any(axis=1)
    if not when.any():
        return None
    first = int(when.argmax())
    element = int(sagged[first].argmax())
    return Breakdown(float(day[first]), element, _cause(pack, day[first : first + 1], element))


def _cause(pack: Condition, day: Floats, element: int) -> str:
    """What the shop will find: a loose joint, a worn module, or one that holds little."""
    joint = float(joint_mohm(pack, day)[0, element])
    risen = float(resistance_mohm(pack, day)[0, element] - pack.elements.new_mohm[element])
    if joint > risen:
        return "connection"
    capacity = capacity_ah(pack, day)[0]
    short = capacity[element] < 0.75 * float(np.median(capacity))
    lost = bool(day[0] >= pack.elements.lost_day[element])
    return "capacity" if short and not lost else "module"


def renew(pack: Condition, modules: NDArray[np.int64], fresh: Elements) -> Condition:
    """The pack with these modules (from 0) out of `fresh`, and their joints made good."""
    touched = np.isin(np.arange(pack.nature.elements) // pack.nature.elements_per_module, modules)
    old = pack.elements
    mixed = {
        name: np.where(touched, getattr(fresh, name), getattr(old, name))
        for name in Elements.__dataclass_fields__
    }
    return replace(
        pack,
        elements=Elements(**mixed),
        joint_day=np.where(touched, NEVER, pack.joint_day),
    )


def loosen(pack: Condition, element: int, *, day: float, mohm_per_year: float) -> Condition:
    """The pack with a joint that begins to loosen."""
    at = np.arange(pack.nature.elements) == element
    return replace(
        pack,
        joint_day=np.where(at, day, pack.joint_day),
        joint_mohm_per_year=np.where(at, mohm_per_year, pack.joint_mohm_per_year),
    )


def lose_cell(pack: Condition, element: int, *, day: float) -> Condition:
    """The pack with an element that has a cell less from a day on."""
    at = np.arange(pack.nature.elements) == element
    lost = np.where(at, day, pack.elements.lost_day)
    return replace(pack, elements=replace(pack.elements, lost_day=lost))


def tighten(pack: Condition) -> Condition:
    """The pack with every joint made good."""
    return replace(pack, joint_day=np.full(pack.nature.elements, NEVER))


def by_block(elements_v: Floats, sizes: NDArray[np.int64], nature: Nature) -> Floats:
    """(n, blocks) V from (n, u): the sum over each block, `sizes` (blocks,) modules in each."""
    begin = np.concatenate([[0], np.cumsum(sizes)[:-1]]) * nature.elements_per_module
    summed: Floats = np.add.reduceat(elements_v, begin, axis=1)
    return summed
