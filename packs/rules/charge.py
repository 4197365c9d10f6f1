"""Equal charge before modules are joined: how near their rest voltages have to lie."""

from collections.abc import Sequence

EQUAL_CELL_V = {"nimh": 0.02, "li_ion": 0.01}
"""How far modules' rest voltages may lie apart, V for each cell in series, to count as equal.
Common practice, no source."""


def tolerance_v(cells: int, chemistry: str) -> float:
    """For modules of so many cells in series, V. KeyError for an unknown chemistry."""
    return cells * EQUAL_CELL_V[chemistry]


def are_equal(volts: Sequence[float], cells: int, chemistry: str) -> bool:
    """Whether the rest voltages of modules, V, lie within the tolerance of each other."""
    return max(volts) - min(volts) <= tolerance_v(cells, chemistry) * (1 + 1e-9)
