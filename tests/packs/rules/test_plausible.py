import timeit

import numpy as np
import pytest
from numpy.typing import NDArray

from packs.rules.plausible import Problem, Suspect, cells_short, impossible, strange

BLOCKS = 14
CELLS = np.full(BLOCKS, 12)
LARGEST_S = 500e-6  # eight times what is aimed at, for a busy machine


def blocks(**changed: float) -> NDArray[np.float64]:
    """Fourteen healthy blocks of twelve cells, with some changed: p9=42.0."""
    volts = np.linspace(15.95, 16.05, BLOCKS)
    for position, value in changed.items():
        volts[int(position[1:]) - 1] = value
    return volts


def refused(volts: NDArray[np.float64], level: str = "block") -> list[Problem]:
    return impossible(volts, CELLS, "nimh", 1.2, level)


def marked(volts: NDArray[np.float64], condition: str = "rest") -> list[Suspect]:
    return strange(volts, CELLS, "nimh", 1.2, condition, 100.0)


def test_a_healthy_set_is_neither_impossible_nor_strange() -> None:
    assert refused(blocks()) == []
    assert marked(blocks()) == []


@pytest.mark.parametrize("cell_v", [-1.59, 0.0, 1.79])
def test_what_a_cell_can_show_is_not_refused(cell_v: float) -> None:
    assert refused(blocks(p9=cell_v * 12)) == []


@pytest.mark.parametrize("volts", [42.0, 21.7, -19.3, 16000.0, float("inf")])
def test_what_no_cell_can_show_is_refused_at_its_position(volts: float) -> None:
    (problem,) = refused(blocks(p9=volts))
    assert (problem.position, problem.code) == (9, "out_of_range")
    assert f"{volts:g} V at position 9" in problem.detail
    assert "-19.2 to 21.6 V" in problem.detail
    assert "Read it again" in problem.detail


def test_lithium_has_its_own_limits() -> None:
    cells = np.full(4, 1)
    low = impossible(np.array([3.7, 3.7, -0.6, 5.1]), cells, "li_ion", 3.7, "cell")
    assert [problem.position for problem in low] == [3, 4]
    assert impossible(np.array([3.7, 3.7, -0.4, 4.9]), cells, "li_ion", 3.7, "cell") == []


def test_uneven_blocks_are_judged_by_their_own_cells() -> None:
    problems = impossible(
        np.array([16.0, 32.0, 32.0]), np.array([12, 24, 12]), "nimh", 1.2, "block"
    )
    assert [problem.position for problem in problems] == [3]


@pytest.mark.parametrize("readable", [0, 1, 2])
def test_too_few_readable_positions_are_refused(readable: int) -> None:
    volts = np.where(np.arange(BLOCKS) < readable, 16.0, np.nan)
    (problem,) = refused(volts)
    assert (problem.position, problem.code) == (None, "too_few_readable")
    assert f"{readable} of 14" in problem.detail


def test_three_readable_positions_are_enough() -> None:
    assert refused(np.where(np.arange(BLOCKS) < 3, 16.0, np.nan)) == []


@pytest.mark.parametrize(
    ("factor", "remedy"), [(1000, "divide"), (1024, "divide"), (0.001, "multiply")]
)
def test_a_set_in_another_unit_is_told_once(factor: float, remedy: str) -> None:
    (problem,) = refused(blocks(p3=float("nan"), p5=0.0) * factor)
    assert (problem.position, problem.code) == (None, "factor_1000")
    assert remedy in problem.detail


def test_millivolts_at_the_level_of_cells_are_known_too() -> None:
    cells = np.full(96, 1)
    (problem,) = impossible(np.full(96, 3700.0), cells, "li_ion", 3.7, "cell")
    assert problem.code == "factor_1000"
    assert "3.7 V" in problem.detail


def test_a_cell_for_a_block_is_told_once() -> None:
    (problem,) = refused(blocks(p4=float("nan")) / 12)
    assert (problem.position, problem.code) == (None, "cell_for_block")
    assert "14.4 V" in problem.detail
    assert "level cell" in problem.detail


def test_cells_at_the_level_of_cells_are_right() -> None:
    assert impossible(np.full(28, 1.33), np.full(28, 1), "nimh", 1.2, "cell") == []


def test_a_flat_pack_is_kept() -> None:
    flat = np.array([0.0, 0.3, 2.1, 4.0, 0.1, 6.2, 3.3, 0.0, 1.2, 2.8, 5.0, 0.6, 7.1, 0.2])
    assert refused(flat) == []
    assert refused(np.zeros(BLOCKS)) == []
    assert len(marked(flat)) == BLOCKS


@pytest.mark.parametrize(
    ("volts", "why"),
    [
        (0.0, "0 V"),
        (-8.0, "reversed"),
        (6.0, "0.50 V a cell"),
        (14.7, "the step of a cell short"),
        (13.4, "the step of 2 cells short"),
        (float("nan"), "could not be read"),
    ],
)
def test_the_strange_is_marked_at_its_position(volts: float, why: str) -> None:
    (suspect,) = marked(blocks(p6=volts))
    assert suspect.position == 6
    assert why in suspect.why


def test_several_are_marked_in_order_and_once_each() -> None:
    suspects = marked(blocks(p2=-8.0, p11=0.0, p5=14.7))
    assert [suspect.position for suspect in suspects] == [2, 5, 11]


@pytest.mark.parametrize(
    ("condition", "words"),
    [("load", "under a load of 100 A"), ("charge", "on charge"), ("rest", "at rest")],
)
def test_the_mark_names_the_condition(condition: str, words: str) -> None:
    (suspect,) = marked(blocks(p6=6.0), condition)
    assert words in suspect.why


def test_a_growth_is_not_a_step() -> None:
    assert marked(blocks(p6=15.2)) == []
    assert marked(blocks(p6=14.4)) == []


@pytest.mark.parametrize(
    ("below", "count"), [(1.1, 0), (1.2, 1), (1.35, 1), (1.5, 0), (2.6, 2), (3.9, 3), (9.0, 0)]
)
def test_steps_of_nickel_metal_hydride(below: float, count: int) -> None:
    """A step of about 1.2 to 1.35 V a cell: common practice, no source."""
    assert cells_short(below, 12, "nimh") == count


def test_a_single_cell_can_not_be_one_cell_short() -> None:
    assert cells_short(1.3, 1, "nimh") == 0


def test_nothing_readable_is_marked_everywhere() -> None:
    assert len(marked(np.full(BLOCKS, np.nan))) == BLOCKS


def test_clean_data_pass_quickly() -> None:
    volts, cells = np.linspace(7.9, 8.1, 28), np.full(28, 6)

    def judge() -> None:
        impossible(volts, cells, "nimh", 1.2, "block")
        strange(volts, cells, "nimh", 1.2, "load", 100.0)

    assert min(timeit.repeat(judge, number=200, repeat=5)) / 200 < LARGEST_S
