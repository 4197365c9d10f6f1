"""Small curves, drawn as SVG by a template: points, axes and a mark, in one box of pixels."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.utils import timezone

from packs.pages.units import day
from packs.rules import curves
from packs.rules.module_tests import Curve

WIDE, HIGH = 340.0, 190.0
LEFT, RIGHT, TOP, BOTTOM = 52.0, 12.0, 14.0, 30.0  # room for the words of the axes
ROOM = 0.08  # of the span of the figures, above and below them
STEPS = (1.0, 2.0, 2.5, 5.0, 10.0)
GRID_LINES = 4
DAY_S = 86_400.0


@dataclass(frozen=True)
class Tick:
    """A word at a place along an axis."""

    at: float
    word: str


@dataclass(frozen=True)
class Drawing:
    """A curve as the template draws it; `said` is what it shows, in a sentence."""

    title: str
    said: str
    points: str
    dots: tuple[tuple[float, float], ...]
    across: tuple[Tick, ...]
    upright: tuple[Tick, ...]
    mark: Tick | None
    wide: float = WIDE
    high: float = HIGH
    left: float = LEFT
    right: float = WIDE - RIGHT
    floor: float = HIGH - BOTTOM


@dataclass(frozen=True)
class _Axis:
    """From figures to pixels: `low` at `begin`, `high` at `end`."""

    low: float
    high: float
    begin: float
    end: float

    def at(self, figure: float) -> float:
        share = (figure - self.low) / (self.high - self.low)
        return round(self.begin + share * (self.end - self.begin), 1)


def discharge(curve: Curve, cut_off_v: float | None) -> Drawing:
    """Voltage over the charge taken out."""
    thin = curves.thinned(curve)
    out_ah = curves.drawn_ah(thin)
    flows = thin.current_a > 0
    across, upright = out_ah[flows].tolist(), thin.voltage_v[flows].tolist()
    said = (
        f"From {upright[0]:.2f} V to {upright[-1]:.2f} V over {across[-1]:.2f} Ah."
        if across
        else "Nothing flowed out."
    )
    ticks = _ticks(0.0, max(across, default=1.0) or 1.0, " Ah")
    mark = None if cut_off_v is None else (cut_off_v, f"cut-off {cut_off_v:g} V")
    return _drawn("Volts over ampere-hours", said, across, upright, ticks, "V", mark, dots=False)


def through_time(
    title: str, unit: str, told: Sequence[tuple[datetime, float]], mark: tuple[float, str] | None
) -> Drawing:
    """A figure of a module, test by test, oldest first."""
    days = [when.timestamp() / DAY_S for when, _ in told]
    figures = [figure for _, figure in told]
    first, last = told[0], told[-1]
    said = f"{first[1]:.3g} {unit} on {day(first[0])}"
    if len(told) > 1:
        said += f", {last[1]:.3g} {unit} on {day(last[0])}; {len(told)} tests"
    ends = {days[0]: day(timezone.localtime(first[0])), days[-1]: day(timezone.localtime(last[0]))}
    ticks = tuple(Tick(at, word) for at, word in ends.items())
    return _drawn(title, f"{said}.", days, figures, ticks, unit, mark, dots=True)


def _drawn(
    title: str,
    said: str,
    across: Sequence[float],
    upright: Sequence[float],
    ticks: Sequence[Tick],
    unit: str,
    mark: tuple[float, str] | None,
    *,
    dots: bool,
) -> Drawing:
    shown = [*upright, *([mark[0]] if mark else [])] or [0.0, 1.0]
    flat = _axis([*across, *(tick.at for tick in ticks)] or [0.0, 1.0], LEFT, WIDE - RIGHT, 0.0)
    tall = _axis(shown, HIGH - BOTTOM, TOP, ROOM)
    places = [(flat.at(x), tall.at(y)) for x, y in zip(across, upright, strict=True)]
    return Drawing(
        title=title,
        said=said,
        points=" ".join(f"{x},{y}" for x, y in places),
        dots=tuple(places) if dots else (),
        across=tuple(Tick(flat.at(tick.at), tick.word) for tick in ticks),
        upright=tuple(
            Tick(tall.at(tick.at), tick.word) for tick in _ticks(tall.low, tall.high, f" {unit}")
        ),
        mark=None if mark is None else Tick(tall.at(mark[0]), mark[1]),
    )


def _axis(figures: Sequence[float], begin: float, end: float, room: float) -> _Axis:
    low, high = min(figures), max(figures)
    span = (high - low) or abs(high) or 1.0
    if low == high:
        low, high = low - span / 2, high + span / 2
    return _Axis(low - room * span, high + room * span, begin, end)


def _ticks(low: float, high: float, unit: str) -> tuple[Tick, ...]:
    """Round figures between the two, the highest with its unit."""
    rough = (high - low) / GRID_LINES
    power = 10.0 ** _exponent(rough)
    step = next(one * power for one in STEPS if one * power >= rough * 0.999)
    first = -(-low // step)
    count = int((high - first * step) / step) + 1
    figures = [(first + n) * step for n in range(count)]
    words = [f"{figure:.6g}" for figure in figures]
    if words:
        words[-1] += unit
    return tuple(Tick(figure, word) for figure, word in zip(figures, words, strict=True))


def _exponent(figure: float) -> int:
    """The power of ten below a figure."""
    power = 0
    while 10.0**power > figure:
        power -= 1
    while 10.0 ** (power + 1) <= figure:
        power += 1
    return power
