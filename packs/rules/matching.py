"""Which modules of the stock go where: those that lie closest together, and why.

What is made least is the sum of `closeness`: how far each module lies from the middle of the pack
and from the middle of its block, in capacity, resistance and self-discharge, with old tests and
missing figures counted against it. For given middles that is an assignment, solved exactly; the
middles are searched (`matching_bounds`), and what is not proven to be the best is told with its
gap. Then, without changing the sum, whole blocks are laid so that the strongest lie where the pack
runs hot, exactly again.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.optimize import linear_sum_assignment

from packs.rules import closeness
from packs.rules.closeness import FIGURES, YEAR_DAYS, Floats, Indices, Seats, Stock
from packs.rules.matching_bounds import Effort, Question, Searched, improved, search

NEAREST = 8  # of those left out that are told with why
STARTS = 6  # middles from which a placing is begun, beside those of the sorted windows
STRONGER = np.array([-1.0, 1.0, 1.0])  # more capacity is stronger, more of the others weaker
WORDS = ("capacity", "resistance", "self-discharge")
UNITS = ("Ah", "mΩ", "mV a day")
DIGITS = (2, 1, 1)


@dataclass(frozen=True, eq=False)
class Asked:
    """What is to be matched.

    tags, figures (n, 3) by FIGURES with NaN where not measured, age_days (n,) of the oldest of
    them; blocks: modules in each; positions wanted, from 1; stay (p, 3) figures of every position
    that is not wanted, NaN where nobody measured; heat (p,) how hot each runs, None for the usual.
    """

    tags: tuple[str, ...]
    figures: Floats
    age_days: Floats
    blocks: tuple[int, ...]
    positions: tuple[int, ...]
    stay: Floats
    pass_marks: Mapping[str, float | None] = field(default_factory=dict)
    heat: Floats | None = None


@dataclass(frozen=True)
class Place:
    """A module at a position: its figures, how far each is from the middle, and why it is there.

    `apart` is its distance from the other modules of its block, in units; None where it has none.
    """

    position: int
    block: int
    tag: str
    figures: tuple[float | None, ...]
    off: tuple[float | None, ...]
    apart: float | None
    age_days: float
    why: str


@dataclass(frozen=True)
class LeftOut:
    """A candidate that was not taken: what the sum would grow by, in units², and why not."""

    tag: str
    more: float | None
    why: str


@dataclass(frozen=True)
class Matched:
    """The answer. total: the sum; bound: what no placing is better than; gap: the share between.

    middle: figures of the pack's middle; unit: what one unit of each is."""

    places: tuple[Place, ...]
    left_out: tuple[LeftOut, ...]
    middle: tuple[float | None, ...]
    unit: tuple[float, ...]
    total: float
    bound: float

    @property
    def gap(self) -> float:
        return max(0.0, 1.0 - self.bound / self.total) if self.total > 0 else 0.0


class TooFewError(ValueError):
    """Fewer candidates than positions that are wanted."""

    def __init__(self, found: int, wanted: int) -> None:
        super().__init__(f"{found} candidates for {wanted} positions")
        self.found, self.wanted = found, wanted


def usual_heat(count: int) -> Floats:
    """1 in the middle of the pack, 0 at its ends. The middle runs hot: common practice. (count,)"""
    if count == 1:
        return np.ones(1)
    heat: Floats = 1.0 - np.abs(2.0 * np.arange(count) / (count - 1) - 1.0)
    return heat


def match(asked: Asked, effort: Effort | None = None) -> Matched:
    """The placing with the least sum that was found, and what is proven of it.

    Raises TooFewError where there are fewer candidates than positions.
    """
    if len(asked.tags) < len(asked.positions):
        raise TooFewError(len(asked.tags), len(asked.positions))
    question, units = _question(asked)
    if not question.seats.count:
        return _told(asked, question, units, Searched(np.zeros(0, dtype=np.intp), 0.0, 0.0))
    found = search(question, _begun(question), effort or Effort())
    laid = _laid(found.chosen, question, asked)
    return _told(asked, question, units, replace(found, chosen=laid))


def rated(asked: Asked, tags: Sequence[str]) -> Matched:
    """The same for modules that somebody placed, one tag a wanted position in order."""
    question, units = _question(asked)
    chosen = np.array([asked.tags.index(tag) for tag in tags], dtype=np.intp)
    total = closeness.total(question.stock, question.seats, chosen)
    return _told(asked, question, units, Searched(chosen, total, total))


def _question(asked: Asked) -> tuple[Question, Floats]:
    units = closeness.units_of(asked.pass_marks, asked.figures)
    stock = closeness.stock_of(asked.figures, asked.age_days, units)
    positions = sorted(asked.positions)
    return Question(stock, closeness.seats_of(asked.blocks, positions, asked.stay / units)), units


def sorted_window(question: Question) -> Indices:
    """The old rule: sort by one figure, take the window that keeps closest together. (k,)

    The best of all windows by each figure in turn; neighbours in the order share a block.
    """
    stock, seats = question.stock, question.seats
    best, least = np.arange(seats.count), np.inf
    for column in range(len(FIGURES)):
        order = np.argsort(stock.points[:, column], kind="stable")
        for start in range(order.size - seats.count + 1):
            chosen = order[start : start + seats.count]
            total = closeness.total(stock, seats, chosen)
            if total < least:
                best, least = chosen, total
    return best


def _begun(question: Question) -> Indices:
    """The best of some placings to begin with, each improved as far as single steps go."""
    order = np.argsort(np.nansum(question.stock.points * STRONGER, axis=1), kind="stable")
    points = question.stock.points[order]
    parts = [part for part in np.array_split(points, STARTS) if len(part)]
    starts = [sorted_window(question)]
    for part in parts:
        starts.append(question.relaxed(_middle_of(part))[1])
    better = [improved(question, start) for start in starts]
    return min(better, key=lambda one: closeness.total(question.stock, question.seats, one))


def _middle_of(points: Floats) -> Floats:
    columns = [column[np.isfinite(column)] for column in points.T]
    return np.array([np.median(column) if column.size else 0.0 for column in columns])


def _laid(chosen: Indices, question: Question, asked: Asked) -> Indices:
    """Whole blocks changed about so that the strongest lie where it runs hot. (k,)"""
    heat = usual_heat(sum(asked.blocks)) if asked.heat is None else asked.heat
    mine = heat[np.array(sorted(asked.positions), dtype=np.intp) - 1]
    weakness = (np.nan_to_num(question.stock.points) * STRONGER).sum(axis=1)
    laid, seats = chosen.copy(), question.seats
    whole = question.free == seats.sizes
    for size in np.unique(seats.sizes[whole]):
        blocks = np.flatnonzero(whole & (seats.sizes == size))
        places = np.array([np.flatnonzero(seats.block == block) for block in blocks])
        cost = mine[places].mean(axis=1)[:, None] * weakness[chosen[places]].sum(axis=1)[None, :]
        target, source = linear_sum_assignment(cost)
        for block, taken in zip(target, source, strict=True):
            coolest_first = places[block][np.argsort(mine[places[block]], kind="stable")]
            modules = chosen[places[taken]]
            laid[coolest_first] = modules[np.argsort(-weakness[modules], kind="stable")]
    return laid


def _told(asked: Asked, question: Question, units: Floats, found: Searched) -> Matched:
    stock, seats = question.stock, question.seats
    middle = closeness.middle(stock, seats, found.chosen)
    return Matched(
        places=tuple(_places(asked, stock, seats, units, middle, found.chosen)),
        left_out=tuple(_nearest(asked, question, units, middle, found.chosen)),
        middle=_numbers(middle * units),
        unit=tuple(float(unit) for unit in units),
        total=found.total,
        bound=found.bound,
    )


def _numbers(values: Floats) -> tuple[float | None, ...]:
    return tuple(float(value) if np.isfinite(value) else None for value in values)


def _places(
    asked: Asked, stock: Stock, seats: Seats, units: Floats, middle: Floats, chosen: Indices
) -> list[Place]:
    told = []
    for seat, (position, index) in enumerate(zip(sorted(asked.positions), chosen, strict=True)):
        block = int(seats.block[seat])
        others = np.concatenate(
            [
                stock.points[chosen[(seats.block == block) & (np.arange(chosen.size) != seat)]],
                seats.stay[seats.stay_block == block],
            ]
        )
        off = (stock.points[index] - middle) * units
        apart = _apart(stock.points[index], others)
        age = float(np.nan_to_num(asked.age_days[index]))
        told.append(
            Place(
                position=position,
                block=block + 1,
                tag=asked.tags[index],
                figures=_numbers(asked.figures[index]),
                off=_numbers(off),
                apart=apart,
                age_days=age,
                why=_why(asked.figures[index], off, apart, age),
            )
        )
    return told


def _apart(point: Floats, others: Floats) -> float | None:
    """How far a module is from the nearest other of its block, in units."""
    told = others[(np.isfinite(others) & np.isfinite(point)).any(axis=1)]
    if not len(told):
        return None
    return float(np.sqrt(closeness.apart(point[None, :], told).min()))


def _why(figures: Floats, off: Floats, apart: float | None, age_days: float) -> str:
    said = [
        f"{value:.{digits}f} {unit} ({_signed(away, digits)})"
        if np.isfinite(value)
        else f"{word} not measured"
        for value, away, unit, digits, word in zip(figures, off, UNITS, DIGITS, WORDS, strict=True)
    ]
    if apart is not None:
        said.append(f"{apart:.1f} units from the next in its block")
    return ", ".join([*said, f"tests {age_days:.0f} days old"])


def _signed(away: float, digits: int) -> str:
    """With its sign, and no sign that is only rounding."""
    return f"{round(away, digits) + 0.0:+.{digits}f}".replace("-", "−")


def _nearest(
    asked: Asked, question: Question, units: Floats, middle: Floats, chosen: Indices
) -> list[LeftOut]:
    """Those left out that would have cost least, and what speaks most against each."""
    if not chosen.size:
        return []
    more = closeness.replacing(question.stock, question.seats, chosen).min(axis=0)
    order = [index for index in np.argsort(more, kind="stable") if np.isfinite(more[index])]
    return [
        LeftOut(
            asked.tags[index],
            float(more[index]),
            _why_not(asked, question.stock, units, middle, index),
        )
        for index in order[:NEAREST]
    ]


def _why_not(asked: Asked, stock: Stock, units: Floats, middle: Floats, index: int) -> str:
    """The largest of what speaks against a candidate; else that the others pair better."""
    off = np.nan_to_num(stock.points[index] - middle)
    years = float(np.nan_to_num(asked.age_days[index])) / YEAR_DAYS
    against = [*off**2, closeness.AGE_WEIGHT * years**2]
    most = int(np.argmax(against))
    missing = [word for word, yes in zip(WORDS, stock.known[index], strict=True) if not yes]
    if missing:
        return f"no test says its {' or '.join(missing)}"
    if against[most] < NEAR:
        return "close to the middle, but with no fellow as close for its block"
    if most == len(FIGURES):
        return f"its tests are {years * YEAR_DAYS:.0f} days old"
    away = abs(off[most] * units[most])
    side = "above" if off[most] > 0 else "below"
    return f"{WORDS[most]} {away:.{DIGITS[most]}f} {UNITS[most]} {side} the middle"


NEAR = 0.25  # units²: what lies nearer than half a unit is not held against a module
