"""Charts drawn on the server: what they show, and that our stylesheet can dress them."""

from dataclasses import replace

import pytest

from reports.pages import charts, tables
from reports.pages.forecast import Fan, Forecast
from reports.reads.pack_page import Bench, Reading, Seat, Trail
from tests.pages import inline

TRAIL = Trail(
    level="block",
    condition="load",
    read=(Reading(19000, 0.3, 0), Reading(19200, 0.5, 0), Reading(19400, 0.2, 1)),
    beside=(Reading(19000, 0.05, 0),),
    change_days=(19300.0,),
    limit_v=1.2,
    floor_v=0.03,
)


def seats(count: int, per_seat: int = 1) -> tuple[Seat, ...]:
    return tuple(
        Seat(place + 1, place * per_seat, (place + 1) * per_seat, place + 1,
             -0.4 if place == 4 else 0.01, (), turned=False, renewed_day=None)
        for place in range(count)
    )  # fmt: skip


BENCH = Bench("block", "load", 19400.0, True, 28, (2,) * 14, seats(14, 2), (3,))


@pytest.mark.parametrize("drawing", [charts.trend(TRAIL, None, now_day=19450), charts.bench(BENCH)])
def test_colours_and_sizes_are_left_to_the_stylesheet(drawing: charts.Drawing) -> None:
    for svg in (drawing.wide, drawing.narrow):
        assert inline(svg) == []
        assert " id=" not in svg
        assert "_marks" in svg


def test_the_limit_the_changes_and_each_build_are_drawn() -> None:
    svg = charts.trend(TRAIL, None, now_day=19450).wide
    assert "limit 1.20 V" in svg
    assert ">changed<" in svg
    lines = svg.split("trend_marks")[1:]
    assert len(lines) == 2
    assert "forecast_marks" not in svg
    assert "beside_marks" in svg


def test_a_forecast_begins_at_the_last_check_and_never_falls_below_it() -> None:
    forecast = Forecast(19400.0, 0.3, 19765.0, None)
    fan = Fan(forecast, 1.2, 19765.0)
    edges = list(fan.edges(1.38))
    assert edges[0] == pytest.approx((19400.0, 0.3, 0.3))
    assert edges[-1] == pytest.approx((19765.0, 0.3, 1.2))
    later = Fan(replace(forecast, late_day=20130.0), 1.2, 19765.0)
    lows = [low for _, low, _ in later.edges(1.38)]
    assert lows == sorted(lows)
    assert lows[-1] == pytest.approx(0.6)
    assert "forecast_marks" in charts.trend(TRAIL, forecast, now_day=19450).wide


def test_a_forecast_that_leaves_the_drawing_ends_there() -> None:
    fan = Fan(Forecast(19400.0, 0.3, 19500.0, None), 1.2, 19765.0)
    edges = list(fan.edges(2.4))
    assert edges[-1][0] == pytest.approx(19550.0)
    assert [high for _, _, high in edges if high > 2.4 + 1e-9] == []
    assert edges[-2][2] < edges[-1][2]


def test_now_is_a_line_and_only_the_last_change_has_its_word() -> None:
    many = replace(TRAIL, change_days=(19100.0, 19300.0, 19310.0))
    svg = charts.trend(many, None, now_day=19450).wide
    assert svg.count(">changed<") == 1
    assert svg.count("now_marks") == 1
    assert ">now<" in svg


def test_every_module_has_its_number_and_the_weakest_its_word() -> None:
    drawing = charts.bench(BENCH)
    for svg in (drawing.wide, drawing.narrow):
        for number in range(1, 29):
            assert svg.count(f">{number}</text>") == 1
        assert "weakest: block 5" in svg
        assert "turned_row0" in svg


def test_a_phone_gets_the_path_in_rows_without_losing_a_module() -> None:
    narrow = charts.bench(replace(BENCH, module_count=34, blocks=(1,) * 34, level="module",
                                  seats=seats(34))).narrow  # fmt: skip
    assert {row for row in (0, 12, 24) if f"plate_row{row}" in narrow} == {0, 12, 24}
    assert narrow.count("weakest: module 5") == 1


def test_the_modules_of_a_position_lead_to_their_pages() -> None:
    first, *others = BENCH.seats
    tagged = replace(BENCH, seats=(replace(first, tags=("M-1", "<M 2>")), *others))
    rows = tables.bench_rows(tagged)
    said = '<a href="/modules/M-1/">M-1</a>, <a href="/modules/%3CM%202%3E/">&lt;M 2&gt;</a>'
    assert rows[0].tags == said
    assert rows[1].tags == ""
