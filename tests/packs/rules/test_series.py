import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from packs.rules import series

CELLS = 6
CUT_OFF_V = 6.0  # 1.0 V a cell (IEC 61951-2)


def discharge(
    hours: float = 5.0,
    amperes: float = 1.3,
    points: int = 5_000,
    early: float | None = None,
    noise_v: float = 0.0,
    cells: int = CELLS,
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """A made-up discharge at one current: a plateau that all cells leave together at its end.

    `early`: one cell is empty at that share of the time, and falls by 1.2 V.
    """
    seconds = np.linspace(0, hours * 3600, points)
    share = seconds / seconds[-1]

    def cell(empty: float) -> NDArray[np.float64]:
        fresh = 0.12 * np.exp(-share / 0.05)
        fall = 1.25 / (1 + np.exp(-(share - empty) / 0.012))
        volts: NDArray[np.float64] = 1.25 - 0.05 * share + fresh - fall
        return volts

    volts = (cells - 1) * cell(1.0) + cell(1.0 if early is None else early)
    volts += np.random.default_rng(1).normal(0, noise_v, points) if noise_v else 0
    return seconds, np.full(points, amperes), volts


def test_the_trapezoidal_rule_to_the_last_digit() -> None:
    """(50 + 500 + 600 + 70 + 20)/3600 Ah, an identity."""
    seconds = np.array([0.0, 10, 60, 120, 130, 140])
    current = np.array([0.0, 10, 10, 10, 4, 0])
    volts = np.full(6, 7.2)
    told = series.count(seconds, current, volts, cut_off_v=CUT_OFF_V, cells=CELLS)
    (one,) = told.cycles
    assert one.capacity_ah == pytest.approx(1240 / 3600, abs=1e-12)
    assert one.energy_wh == pytest.approx(7.2 * 1240 / 3600, abs=1e-12)
    assert (one.ended_by, told.charged_ah) == ("series", 0.0)


def test_a_rated_cell_runs_five_hours_at_a_fifth_of_its_rating() -> None:
    """IEC 61951-2: 0.2 It of 6.5 Ah is 1.3 A, for 5 h; and of a published cell 5.38 h, 6.994 Ah."""
    assert series.constant_ah(1.3, 5 * 3600) == pytest.approx(6.5)
    assert series.constant_ah(1.3, 5.38 * 3600) == pytest.approx(6.994)
    volts = np.linspace(8.0, 7.0, 301)
    seconds = np.linspace(0, 5 * 3600, 301)
    told = series.count(seconds, np.full(301, 1.3), volts, cut_off_v=CUT_OFF_V, cells=CELLS)
    assert told.cycles[0].capacity_ah == pytest.approx(6.5, abs=1e-9)


@given(st.floats(6.05, 7.9), st.integers(5, 400))
def test_the_cut_off_is_found_between_two_readings(cut_off_v: float, points: int) -> None:
    """A voltage that falls in a straight line reaches the cut-off at a known time (identity)."""
    seconds = np.linspace(0, 3600, points)
    volts = np.linspace(8.0, 6.0, points)
    told = series.count(seconds, np.full(points, 2.0), volts, cut_off_v=cut_off_v, cells=CELLS)
    (one,) = told.cycles
    share = (8.0 - cut_off_v) / 2.0
    assert one.ended_by == "cut_off"
    assert one.ended_s == pytest.approx(3600 * share, rel=1e-9)
    assert one.capacity_ah == pytest.approx(2.0 * share, rel=1e-9)
    mean_v = (8.0 + cut_off_v) / 2
    assert one.energy_wh == pytest.approx(2.0 * share * mean_v, rel=2 / points**2)


def test_what_flows_after_the_cut_off_does_not_count() -> None:
    seconds, current, volts = discharge()
    whole = series.count(seconds, current, volts, cut_off_v=CUT_OFF_V, cells=CELLS).cycles[0]
    cut = int(np.argmax(volts < CUT_OFF_V)) + 5
    short = series.count(
        seconds[:cut], current[:cut], volts[:cut], cut_off_v=CUT_OFF_V, cells=CELLS
    )
    assert whole.ended_by == "cut_off"
    assert short.cycles[0].capacity_ah == pytest.approx(whole.capacity_ah, abs=1e-12)
    assert whole.capacity_ah < 6.5 * 0.995


def test_one_glitch_is_no_cut_off() -> None:
    seconds, current, volts = discharge()
    before = series.count(seconds, current, volts, cut_off_v=CUT_OFF_V, cells=CELLS).cycles[0]
    volts[2000] = 5.0
    after = series.count(seconds, current, volts, cut_off_v=CUT_OFF_V, cells=CELLS).cycles[0]
    assert after.ended_s == pytest.approx(before.ended_s)


@pytest.mark.parametrize("noise_v", [0.0, 0.005])
@pytest.mark.parametrize("cells", [6, 12])
def test_healthy_cells_empty_together_and_the_cut_off_ends_it(noise_v: float, cells: int) -> None:
    seconds, current, volts = discharge(noise_v=noise_v, cells=cells)
    (one,) = series.count(seconds, current, volts, cut_off_v=1.0 * cells, cells=cells).cycles
    assert one.ended_by == "cut_off"
    assert one.to_knee_ah is None or one.to_knee_ah > 0.97 * one.capacity_ah


@pytest.mark.parametrize("noise_v", [0.0, 0.005])
@pytest.mark.parametrize(
    ("cells", "early"), [(6, 0.5), (6, 0.7), (6, 0.8), (12, 0.5), (12, 0.7), (12, 0.85), (12, 0.93)]
)
def test_a_cell_that_empties_first_ends_it_at_the_knee(
    early: float, cells: int, noise_v: float
) -> None:
    """The mean stays above 1.0 V a cell long after that cell is driven backwards."""
    seconds, current, volts = discharge(early=early, cells=cells, noise_v=noise_v)
    (one,) = series.count(seconds, current, volts, cut_off_v=1.0 * cells, cells=cells).cycles
    assert one.ended_by == "knee"
    assert one.capacity_ah == pytest.approx(6.5 * early, rel=0.04)
    assert one.to_cut_off_ah is not None
    assert one.to_cut_off_ah > one.capacity_ah * 1.03


def test_readings_that_stop_early_say_so() -> None:
    seconds, current, volts = (figures[:2500] for figures in discharge())
    (one,) = series.count(seconds, current, volts, cut_off_v=CUT_OFF_V, cells=CELLS).cycles
    assert (one.ended_by, one.to_cut_off_ah, one.to_knee_ah) == ("series", None, None)


def test_three_cycles_of_one_series_and_what_was_charged() -> None:
    parts, start = [], 0.0
    for hours in (4.5, 4.8, 4.9):
        charge = np.arange(0, 18_000, 60.0)
        seconds, current, volts = discharge(hours, points=600)
        parts.append((start + charge, np.full(charge.size, -1.4), np.full(charge.size, 8.6)))
        start += 18_000 + 600  # a rest of ten minutes that nobody logged
        parts.append((start + seconds, current, volts))
        start += seconds[-1] + 3600
    seconds, current, volts = (np.concatenate(column) for column in zip(*parts, strict=True))
    told = series.count(seconds, current, volts, cut_off_v=CUT_OFF_V, cells=CELLS)
    alone = [
        series.count(*discharge(hours, points=600), cut_off_v=CUT_OFF_V, cells=CELLS).cycles[0]
        for hours in (4.5, 4.8, 4.9)
    ]
    assert [one.capacity_ah for one in told.cycles] == pytest.approx(
        [one.capacity_ah for one in alone]
    )
    assert told.charged_ah == pytest.approx(3 * 1.4 * 5, rel=0.06)


def test_a_long_rest_beside_a_discharge_adds_no_charge() -> None:
    seconds = np.array([-36_000.0, 0, 60, 120, 180, 40_000])
    current = np.array([0.0, 1.3, 1.3, 1.3, 1.3, 0])
    told = series.count(seconds, current, np.full(6, 7.2), cut_off_v=CUT_OFF_V, cells=CELLS)
    assert told.cycles[0].capacity_ah == pytest.approx(1.3 * 180 / 3600)


def test_a_gap_is_told() -> None:
    seconds, current, volts = discharge()
    kept = np.r_[0:1000, 1500:5000]
    (one,) = series.count(
        seconds[kept], current[kept], volts[kept], cut_off_v=CUT_OFF_V, cells=CELLS
    ).cycles
    assert one.gap_s == pytest.approx(501 * 18_000 / 4999, rel=1e-6)


def test_nothing_flowed_out() -> None:
    seconds = np.arange(10.0)
    told = series.count(seconds, np.full(10, -1.0), np.full(10, 8.0), cut_off_v=6.0, cells=6)
    assert told.cycles == ()
    assert told.charged_ah == pytest.approx(9 / 3600)
    assert series.count(seconds, np.zeros(10), np.ones(10), cut_off_v=6.0, cells=6).cycles == ()


def test_change_between_cycles_and_order_of_time() -> None:
    assert series.change_pct(6.0, 6.15) == pytest.approx(2.5)
    assert series.change_pct(6.0, 5.85) == pytest.approx(2.5)
    assert series.first_unordered(np.array([0.0, 1, 1, 0.5, 3])) == 3
    assert series.first_unordered(np.array([0.0, 1, 1])) is None
