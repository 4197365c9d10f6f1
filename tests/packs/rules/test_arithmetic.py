import numpy as np
import pytest

from packs.rules import arithmetic

NIMH_NOMINAL_V = 1.2  # common practice, no source
CELLS = 12  # a 14.4 V module; common practice, no source


@pytest.mark.parametrize(("modules", "volts"), [(11, 158.4), (10, 144.0), (1, 14.4), (13, 187.2)])
def test_nominal_voltage_of_common_packs(modules: int, volts: float) -> None:
    """Common practice, no source."""
    assert arithmetic.nominal_v(modules, CELLS, NIMH_NOMINAL_V) == pytest.approx(volts, abs=1e-9)


def test_highest_voltage_counts_every_cell_at_its_highest() -> None:
    assert arithmetic.highest_v(11, CELLS, 1.4) == pytest.approx(184.8)


def test_a_label_for_other_modules_disagrees() -> None:
    nominal = arithmetic.nominal_v(13, CELLS, NIMH_NOMINAL_V)
    assert arithmetic.disagrees(158.4, nominal)
    assert not arithmetic.disagrees(187.0, nominal)


@pytest.mark.parametrize(
    ("said", "off"), [(201.0, False), (199.0, False), (201.01, True), (198.99, True)]
)
def test_half_a_percent_is_where_a_label_starts_to_disagree(said: float, off: bool) -> None:
    assert arithmetic.disagrees(said, 200.0) is off


def test_blocks_equal_and_listed() -> None:
    assert arithmetic.block_sizes(28, 2) == (2,) * 14
    assert arithmetic.block_sizes(11) == (1,) * 11
    assert arithmetic.block_sizes(34, 2, [2, 4, 28]) == (2, 4, 28)


@pytest.mark.parametrize(
    ("modules", "each", "listed", "said"),
    [
        (11, 2, None, "11 modules do not divide into blocks of 2"),
        (11, 0, None, "do not divide"),
        (11, 1, [5, 5], "10 modules together, but the pack has 11"),
        (11, 1, [12, -1], "at least one module"),
        (11, 1, [], "at least one module"),
    ],
)
def test_blocks_that_do_not_fit_are_refused(
    modules: int, each: int, listed: list[int] | None, said: str
) -> None:
    with pytest.raises(ValueError, match=said):
        arithmetic.block_sizes(modules, each, listed)


@pytest.mark.parametrize(("level", "count"), [("block", 3), ("module", 6), ("cell", 72)])
def test_positions_and_their_cells_add_up_at_every_level(level: str, count: int) -> None:
    sizes = (1, 2, 3)
    cells = arithmetic.cells_at(
        level, block_sizes=sizes, cells_per_module=CELLS, module_count=sum(sizes)
    )
    assert cells.size == count
    assert cells.size == arithmetic.position_count(
        level, block_sizes=sizes, module_count=sum(sizes), cells_per_module=CELLS
    )
    assert int(cells.sum()) == 72


def test_an_unknown_level_is_refused() -> None:
    with pytest.raises(ValueError, match="'row'"):
        arithmetic.position_count("row", block_sizes=(1,), module_count=1, cells_per_module=6)


@pytest.mark.parametrize(("cell_v", "volts"), [(1.2, (72.0, 86.4)), (1.4, (84.0, 100.8))])
def test_halves_of_eleven_modules(cell_v: float, volts: tuple[float, float]) -> None:
    """Common practice, no source: eleven modules of twelve cells parted 5 and 6."""
    assert arithmetic.halves(11, 5) == (5, 6)
    modules = [CELLS * cell_v] * 11
    shown = arithmetic.pieces(modules, [5])
    assert [(piece.first, piece.last) for piece in shown] == [(1, 5), (6, 11)]
    assert [piece.highest_v for piece in shown] == pytest.approx(volts)
    assert arithmetic.largest_joined_piece(modules, [5]) == shown[1]


def test_each_cut_leaves_smaller_pieces() -> None:
    modules = [16.8] * 11
    assert arithmetic.largest_joined_piece(modules, []).highest_v == pytest.approx(184.8)
    assert arithmetic.largest_joined_piece(modules, [5, 8, 5]).highest_v == pytest.approx(84.0)
    assert arithmetic.largest_joined_piece(modules, range(1, 11)).highest_v == pytest.approx(16.8)


def test_a_reversed_module_does_not_hide_what_stands_inside_a_piece() -> None:
    piece = arithmetic.largest_joined_piece([16.0, 16.0, -16.0], [])
    assert piece.highest_v == pytest.approx(32.0)


@pytest.mark.parametrize("cut", [0, 3, -1])
def test_a_cut_outside_the_string_is_refused(cut: int) -> None:
    with pytest.raises(ValueError, match="parts 3 modules"):
        arithmetic.pieces([14.4] * 3, [cut])


@pytest.mark.parametrize("modules", [[], [14.4, float("nan")]])
def test_a_module_without_a_voltage_is_refused(modules: list[float]) -> None:
    with pytest.raises(ValueError, match="Every module needs a voltage"):
        arithmetic.pieces(modules, [])


def test_cells_come_as_whole_numbers() -> None:
    cells = arithmetic.cells_at("block", block_sizes=[2], cells_per_module=6, module_count=2)
    assert cells.dtype == np.int64
