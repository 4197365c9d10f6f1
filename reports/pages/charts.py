"""Charts for screen and print: one grammar, drawn to SVG on the server.

Colours here are for print and for readers without our stylesheet; register.css sets them again by
class, light and dark. Every mark has a name, which becomes its class.
"""

import hashlib
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import vl_convert
from django.core.cache import cache
from django.utils.formats import get_format

from reports.pages.forecast import Fan, Forecast
from reports.reads.pack_page import Bench, Reading, Seat, Trail

WIDE_PX, NARROW_PX = 900, 350  # a desk's column; a phone of 390 px without its margins
TREND_HEIGHT_PX, ROW_HEIGHT_PX = 300, 150
AXIS_PX = 56  # room for the figures of the vertical axis
SEAT_PX = 21  # a module's narrowest plate that still holds its number
DAY_MS = 86_400_000
AHEAD_DAYS = 365  # how far a forecast is drawn
HEADROOM = 1.15  # of the greatest of the limit, the highest reading and the forecast
FAN_MOST = 1.5  # of the limit: a forecast beyond this ends where it leaves the drawing
LATE_SHARE = 0.85  # of the time shown: a word after this stands before its mark
MARGIN = 0.02  # of the time shown, before the first reading
LEAST_OFF_V = 0.05  # half the height of the drawing where every position lies together
KEPT_S = 7 * 86_400  # a drawing is kept in the cache for a week

INK, QUIET, GRID, ACCENT, LIMIT = "#1c1c1a", "#5a5a55", "#e2e2dd", "#175a7a", "#9d1020"
FONT_PX = 14

Spec = dict[str, Any]
Ends = tuple[float, float]  # of the vertical axis of the drawing, V
SIGNED = "(datum.value > 0 ? '+' : '') + format(datum.value, '.2~f')"


@dataclass(frozen=True)
class Drawing:
    """One chart in two widths, as SVG."""

    wide: str
    narrow: str


def trend(trail: Trail, forecast: Forecast | None, *, now_day: float) -> Drawing:
    """Spread through time, build by build, with the limit.

    `now_day` is a whole day: the drawing is the same all day long, and is drawn once.
    """
    specs = (trend_spec(trail, forecast, now_day=now_day, px=px) for px in (WIDE_PX, NARROW_PX))
    return Drawing(*(_drawn(spec) for spec in specs))


def bench(on_bench: Bench) -> Drawing:
    """The pack along its series path, each position's distance from the middle on its plate."""
    return Drawing(*(_drawn(_bench(on_bench, px)) for px in (WIDE_PX, NARROW_PX)))


def _drawn(spec: Spec) -> str:
    """The SVG of a specification, kept under what it says: other facts have another name."""
    said = json.dumps(spec)
    key = f"chart-{hashlib.sha256(said.encode()).hexdigest()}"
    svg = cache.get(key)
    if svg is None:
        svg = str(vl_convert.vegalite_to_svg(said))
        cache.set(key, svg, KEPT_S)
    return str(svg)


def _framed(**content: Any) -> Spec:
    axis = {
        "labelFontSize": FONT_PX, "titleFontSize": FONT_PX, "titleFontWeight": "normal",
        "labelColor": QUIET, "titleColor": QUIET, "domain": False, "ticks": False,
        "gridColor": GRID, "labelPadding": 6,
    }  # fmt: skip
    return {
        "$schema": "https://vega.github.io/schema/vega-lite/v5.json",
        "background": None,
        "padding": 2,
        "autosize": {"type": "pad"},
        "config": {
            "aria": False,
            "font": "sans-serif",
            "view": {"stroke": None},
            "axis": axis,
            "text": {"fontSize": FONT_PX, "fill": INK},
            "concat": {"spacing": 14},
        },
        **content,
    }


def _months() -> str:
    """How the time axis writes a month, in the order of the site."""
    return "%Y-%m" if get_format("DATE_FORMAT").startswith("Y") else "%b %Y"


def _top_axis_title(text: str) -> Spec:
    """An upright title over the vertical axis."""
    return {
        "title": text, "titleAngle": 0, "titleAlign": "left", "titleAnchor": "start",
        "titleX": -AXIS_PX + 14, "titleY": -14, "titleBaseline": "bottom",
    }  # fmt: skip


def _ms(day: float) -> int:
    return round(day * DAY_MS)


def trend_spec(trail: Trail, forecast: Forecast | None, *, now_day: float, px: int) -> Spec:
    """The chart of spreads as the drawing library wants it, that many pixels wide."""
    days = [reading.day for reading in (*trail.read, *trail.beside)]
    ahead = now_day + (AHEAD_DAYS if forecast else 0)
    fan = None if forecast is None else Fan(forecast, trail.limit_v, ahead)
    highest = [trail.limit_v, *(reading.spread_v for reading in trail.read)]
    highest += [] if fan is None else [min(fan.high(ahead), FAN_MOST * trail.limit_v)]
    ceiling = HEADROOM * max(highest)
    first = min([*days, now_day - AHEAD_DAYS / 4])
    first -= (ahead - first) * MARGIN
    axis = {"title": None, "grid": False, "format": _months(), "tickCount": px // 130,
            "domain": True, "domainColor": QUIET, "labelOverlap": "greedy",
            "labelFlush": True}  # fmt: skip
    x = {
        "field": "x",
        "type": "temporal",
        "scale": {"type": "utc", "domain": [_ms(first), _ms(ahead)]},
        "axis": axis,
    }
    y = {
        "field": "y",
        "type": "quantitative",
        "scale": {"domain": [0, round(ceiling, 3)], "nice": False},
        "axis": {**_top_axis_title("Spread, V"), "tickCount": 5},
    }
    late = first + LATE_SHARE * (ahead - first)
    layers = [
        *_trend_layers(trail, fan, ceiling, first),
        *_changes(trail, ceiling, first, late),
        *_now(now_day, late, ceiling),
        _limit_label(trail, first),
    ]
    return _framed(
        width=px - AXIS_PX - 8,
        height=TREND_HEIGHT_PX if px == WIDE_PX else TREND_HEIGHT_PX * 3 // 4,
        encoding={"x": x, "y": y},
        layer=[layer for layer in layers if layer["data"]["values"]],
    )


def _trend_layers(trail: Trail, fan: Fan | None, ceiling: float, first: float) -> Iterator[Spec]:
    band = [] if fan is None else _band(fan, ceiling)
    yield _layer(
        "forecast", {"type": "area", "fill": ACCENT, "fillOpacity": 0.18}, band,
        y2={"field": "y2"},
    )  # fmt: skip
    limit = [{"x": _ms(first), "y": trail.limit_v}]
    rule = {"type": "rule", "stroke": LIMIT, "strokeWidth": 1.5, "strokeDash": [6, 4]}
    yield {"name": "limit", "mark": rule, "data": {"values": limit}, "encoding": {"x": None}}
    beside = _rows(trail.beside)
    square = {"type": "point", "shape": "square", "size": 40, "filled": False, "stroke": QUIET}
    yield _layer("beside", square, beside)
    read = _rows(trail.read)
    line = {"type": "line", "stroke": ACCENT, "strokeWidth": 2}
    yield _layer("trend", line, read, detail={"field": "build", "type": "nominal"})
    shape = "circle" if trail.condition == "load" else "square"
    point = {"type": "point", "shape": shape, "size": 70, "filled": True, "fill": ACCENT,
             "fillOpacity": 1}  # fmt: skip
    yield _layer("read", point, read)


def _limit_label(trail: Trail, first: float) -> Spec:
    """The limit in words, over whatever lines cross there."""
    told = [{"x": _ms(first), "y": trail.limit_v, "t": f"limit {trail.limit_v:.2f} V"}]
    return _text("limit_label", told, fill=LIMIT, dx=12, dy=-10)


def _changes(trail: Trail, ceiling: float, first: float, late: float) -> Iterator[Spec]:
    """A line where something was changed; the word at the last alone, the table tells the rest."""
    days = [day for day in trail.change_days if day >= first]
    rows = [{"x": _ms(day), "y": ceiling, "t": "changed"} for day in days]
    rule = {"type": "rule", "stroke": QUIET, "strokeWidth": 1.5}
    yield {"name": "change", "mark": rule, "data": {"values": rows}, "encoding": {"y": None}}
    side = _side(bool(days) and days[-1] > late)
    yield _text("change_label", rows[-1:], fill=QUIET, dy=8, **side)


def _now(now_day: float, late: float, ceiling: float) -> Iterator[Spec]:
    rows = [{"x": _ms(now_day), "y": 0, "y2": ceiling, "t": "now"}]
    yield _layer("now", {"type": "rule", "stroke": QUIET}, rows, y2={"field": "y2"})
    yield _text("now_label", rows, fill=QUIET, dy=-8, **_side(now_day > late))


def _side(before: bool) -> Spec:
    """On which side of its mark a word stands."""
    return {"align": "right", "dx": -5} if before else {"align": "left", "dx": 5}


def _layer(name: str, mark: Spec, rows: list[Spec], **encoding: Any) -> Spec:
    return {"name": name, "mark": mark, "data": {"values": rows}, "encoding": encoding}


def _text(name: str, rows: list[Spec], **mark: Any) -> Spec:
    shown = {"type": "text", "align": "left", "baseline": "middle", **mark}
    return _layer(name, shown, rows, text={"field": "t", "type": "nominal"})


def _rows(readings: Sequence[Reading]) -> list[Spec]:
    return [
        {"x": _ms(reading.day), "y": round(reading.spread_v, 4), "build": reading.build}
        for reading in readings
    ]


def _band(fan: Fan, ceiling: float) -> list[Spec]:
    edges = fan.edges(ceiling)
    return [{"x": _ms(day), "y": round(low, 4), "y2": round(high, 4)} for day, low, high in edges]


def _bench(on_bench: Bench, px: int) -> Spec:
    count = on_bench.module_count
    fit = max(1, (px - AXIS_PX) // SEAT_PX)
    rows = -(-count // fit)
    per_row = -(-count // rows)
    off_v = [seat.off_v for seat in on_bench.seats if seat.off_v is not None]
    low, high = min([-LEAST_OFF_V, *off_v]), max([LEAST_OFF_V, *off_v])
    ends = (1.25 * low, 1.25 * max(high, -low / 4))
    starts = range(0, count, per_row)
    charts = [_row(on_bench, start, per_row, ends, px) for start in starts]
    return _framed(vconcat=charts)


def _row(on_bench: Bench, start: int, per_row: int, ends: Ends, px: int) -> Spec:
    """One stretch of the series path, from the module after `start` on."""
    stop = min(start + per_row, on_bench.module_count)
    width = (px - AXIS_PX - 8) * (stop - start) // per_row
    seats = [seat for seat in on_bench.seats if start <= _middle(seat) < stop]
    x = {"field": "x", "type": "quantitative", "axis": None,
         "scale": {"domain": [start, stop], "nice": False, "zero": False}}  # fmt: skip
    title = {"title": None} if start else _top_axis_title("V from the middle")
    y = {
        "field": "y",
        "type": "quantitative",
        "axis": {**title, "tickCount": 4, "labelExpr": SIGNED},
        "scale": {"domain": list(ends), "nice": False},
    }
    layers = [*_plates(on_bench, start, stop, ends), *_dots(on_bench, seats)]
    return {
        "width": width,
        "height": ROW_HEIGHT_PX,
        "encoding": {"x": x, "y": y},
        "layer": [_of_row(layer, start) for layer in layers if layer["data"]["values"]],
    }


def _of_row(layer: Spec, start: int) -> Spec:
    """Names are unique in one drawing: two rows may not share theirs."""
    return {**layer, "name": f"{layer['name']}_row{start}"}


def _middle(seat: Seat) -> float:
    return (seat.first + seat.last) / 2


def _plates(on_bench: Bench, start: int, stop: int, ends: Ends) -> Iterator[Spec]:
    """The modules side by side, their numbers below, the seams of the blocks, the way round."""
    numbers, (low, high) = range(start, stop), ends
    plates = [{"x": number + 0.06, "x2": number + 0.94, "y": low, "y2": high} for number in numbers]
    plate = {"type": "rect", "fill": GRID, "fillOpacity": 0.5, "stroke": None, "cornerRadius": 2}
    yield _layer("plate", plate, plates, x2={"field": "x2"}, y2={"field": "y2"})
    joined = list(_joined(on_bench.blocks, start, stop, high))
    bar = {"type": "rule", "stroke": QUIET, "strokeWidth": 2, "yOffset": -4}
    yield _layer("block", bar, joined, x2={"field": "x2"})
    middle = [{"x": start, "x2": stop, "y": 0}]
    yield _layer("middle", {"type": "rule", "stroke": QUIET}, middle, x2={"field": "x2"})
    labels = [{"x": number + 0.5, "y": low, "t": str(number + 1)} for number in numbers]
    yield _text("number", labels, align="center", dy=11, fontSize=12)
    turned = [{"x": number + 0.5, "y": high} for number in numbers if number + 1 in on_bench.turned]
    mark = {"type": "point", "shape": "triangle-down", "size": 50, "fill": INK, "yOffset": 10,
            "filled": True, "fillOpacity": 1}  # fmt: skip
    yield _layer("turned", mark, turned)


def _joined(blocks: Sequence[int], start: int, stop: int, high_v: float) -> Iterator[Spec]:
    """A bar over each block of several modules, as far as it lies in this row."""
    edges = [0]
    for size in blocks:
        edges.append(edges[-1] + size)
    for low, high in pairwise(edges):
        first, last = max(low, start), min(high, stop)
        if high - low > 1 and last > first:
            yield {"x": first + 0.06, "x2": last - 0.06, "y": high_v}


def _dots(on_bench: Bench, seats: Sequence[Seat]) -> Iterator[Spec]:
    """Each position's distance; the weakest by shape and word, the unread by a cross."""
    weakest = on_bench.weakest
    read = [_dot(seat) for seat in seats if seat.off_v is not None and seat is not weakest]
    dot = {"type": "point", "shape": "circle", "size": 55, "filled": True, "fill": ACCENT,
           "fillOpacity": 1}  # fmt: skip
    yield _layer("off", dot, read)
    unread = [{"x": _middle(seat), "y": 0} for seat in seats if seat.off_v is None]
    cross = {"type": "point", "shape": "cross", "angle": 45, "size": 70, "filled": True,
             "fill": INK, "fillOpacity": 1}  # fmt: skip
    yield _layer("unread", cross, unread)
    low = [_dot(seat) for seat in seats if seat is weakest]
    diamond = {"type": "point", "shape": "diamond", "size": 170, "filled": True, "fill": LIMIT,
               "fillOpacity": 1}  # fmt: skip
    yield _layer("weakest", diamond, low)
    beyond_middle = bool(low) and _late(seats, weakest)
    word = [{**row, "t": f"weakest: {on_bench.level} {row['t']}"} for row in low]
    side = {"align": "right", "dx": -11} if beyond_middle else {"align": "left", "dx": 11}
    yield _text("weakest_label", word, **side)


def _dot(seat: Seat) -> Spec:
    return {"x": _middle(seat), "y": round(seat.off_v or 0.0, 4), "t": str(seat.position)}


def _late(seats: Sequence[Seat], weakest: Seat | None) -> bool:
    """Whether the weakest stands in the second half of its row, so that its word goes before it."""
    return weakest is not None and seats.index(weakest) * 2 >= len(seats)
