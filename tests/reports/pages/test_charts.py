"""Charts drawn on the server: what they show, and that our stylesheet can dress them."""

from dataclasses import replace

import pytest

from reports.pages import charts
from reports.reads.pack_page import Bench, Reading, Seat, Trail
from tests.pages import inline

TRAIL = Trail(
    level="block",
    condition="load",
    read=(Reading(19000, 0.3, 0), Reading(19200, 0.5, 0), Reading(19400, 0.2, 1)),
    beside=(Reading(19000, 0.05, 0),),
    change_days=(19300.0,),
    limit_v=1.2,
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


def test_a_forecast_reaches_the_limit_on_its_days() -> None:
    forecast = charts.Forecast(19450.0, 0.3, 19450.0 + charts.AHEAD_DAYS, None)
    band = list(charts._band(forecast, 1.2, 1.38))
    assert band[0]["y"] == band[0]["y2"] == 0.3
    assert band[-1]["y2"] == pytest.approx(1.2)
    assert band[-1]["y"] == 0.3
    assert "forecast_marks" in charts.trend(TRAIL, forecast, now_day=19450).wide


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
