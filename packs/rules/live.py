"""What of the pack side stays live: the pieces still joined, and how high each can be."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from packs.rules.arithmetic import Piece, largest_joined_piece, pieces

HIGHEST_CELL_V = {"nimh": 1.6, "li_ion": 4.3}
"""Highest voltage of a cell at the end of a charge, V, where a type does not say its own. Common
practice, no source."""

SWITCH = "service_switch"
BUS_BAR = "bus_bar"


@dataclass(frozen=True)
class Move:
    """A part taken out or put back; of a bus bar the modules that it follows."""

    part: str
    out: bool
    after: tuple[int, ...] = ()


@dataclass(frozen=True)
class LiveSide:
    """The pieces of the string, and the highest voltage of the whole of it joined, V."""

    pieces: tuple[Piece, ...]
    largest: Piece
    whole_v: float

    @property
    def said(self) -> str:
        return declared(self.largest)


def declared(piece: Piece) -> str:
    """What is said of the pack side, with its largest piece."""
    return f"The pack side stays live: up to {piece.highest_v:.1f} V {between(piece)}."


def between(piece: Piece) -> str:
    """Between what points the voltage of a piece stands."""
    if piece.first == piece.last:
        return f"between the terminals of module {piece.first}"
    return (
        "between the ends of the largest piece still joined "
        f"(modules {piece.first} to {piece.last})"
    )


def highest_cell_v(chemistry: str, max_cell_v: float | None) -> float:
    """The highest voltage of a cell, V: the type's, else that of its chemistry."""
    return HIGHEST_CELL_V[chemistry] if max_cell_v is None else max_cell_v


def open_joints(
    moves: Iterable[Move], *, switch_after: int | None, module_count: int
) -> frozenset[int]:
    """The modules after which the string is open, when the moves were made in that order.

    Bars at the ends of the string part nothing; nor does a switch whose place nobody recorded.
    """
    opened: set[int] = set()
    for move in moves:
        places = {place for place in _places(move, switch_after) if 1 <= place < module_count}
        opened = opened | places if move.out else opened - places
    return frozenset(opened)


def _places(move: Move, switch_after: int | None) -> Sequence[int]:
    if move.part == SWITCH:
        return () if switch_after is None else (switch_after,)
    return move.after if move.part == BUS_BAR else ()


def live_side(module_voltages: Sequence[float], joints: Iterable[int]) -> LiveSide:
    """What stays live with the string open at `joints`; `module_voltages` in V by position."""
    cuts = frozenset(joints)
    return LiveSide(
        pieces=pieces(module_voltages, cuts),
        largest=largest_joined_piece(module_voltages, cuts),
        whole_v=largest_joined_piece(module_voltages, ()).highest_v,
    )
