"""The series path of a pack as a drawing: its positions, what is out of it, and what is live.

The path runs to and fro from the positive end, so that each module stands beside those that it is
joined to. The same drawing serves every page that chooses or shows a position.
"""

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field
from itertools import pairwise

from packs.models import PackType
from packs.reads.openings import Opening
from packs.rules.layouts import Seat
from packs.rules.live import LiveSide
from packs.rules.openings import Item, shows_plus

PITCH, WIDTH, HEIGHT = 124, 66, 92  # units of the drawing: module to module, and a module
ROW, TOP, SIDE = 212, 58, 34  # a row of the path, and the room above and beside it
WIDE, NARROW = 6, 3  # modules in a row on a tablet, and on a telephone


@dataclass(frozen=True)
class Marks:
    """What a page points out: chosen positions and joints, and a word to each position."""

    positions: Collection[int] = ()
    joints: Collection[int] = ()
    words: Mapping[int, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Spot:
    """One position: where it is drawn, how its module lies, and how it stands."""

    x: int
    y: int
    position: int
    block: int
    reversed: bool
    seat: Seat
    out: bool
    chosen: bool
    reading: str
    wrong: bool
    live: str
    word: str

    @property
    def middle(self) -> int:
        return self.x + WIDTH // 2

    @property
    def way_round(self) -> str:
        return {"reversed": "minus first", "normal": "plus first"}.get(self.seat.orientation, "")

    @property
    def state(self) -> str:
        if self.out:
            return "out"
        return "wrong way round" if self.wrong else self.word or "in"

    @property
    def label(self) -> str:
        """The position in words, for those who do not see the drawing."""
        seat = self.seat
        named = (("sense lead", seat.sense_lead), ("sensor", seat.sensor), ("clip", seat.clip))
        clipped = [f"{word} {name}" for word, name in named if name]
        parts = [self.way_round, *clipped, self.reading, self.state]
        return f"Module {self.position}, {', '.join(part for part in parts if part)}"


@dataclass(frozen=True)
class Joint:
    """What joins two modules: the bus bar after one of them, or the service switch."""

    x1: int
    y1: int
    x2: int
    y2: int
    after: int
    switch: bool
    open: bool
    chosen: bool

    @property
    def x(self) -> int:
        return (self.x1 + self.x2) // 2

    @property
    def y(self) -> int:
        return (self.y1 + self.y2) // 2

    @property
    def label(self) -> str:
        what = "Service switch" if self.switch else "Bus bar"
        return f"{what} after module {self.after}, {'open' if self.open else 'joined'}"


@dataclass(frozen=True)
class Sheet:
    """The drawing in rows of one length."""

    kind: str
    width: int
    height: int
    spots: tuple[Spot, ...]
    joints: tuple[Joint, ...]


@dataclass(frozen=True)
class Drawing:
    """The path on a tablet and on a telephone, and in a sentence."""

    wide: Sheet
    narrow: Sheet
    said: str

    @property
    def sheets(self) -> tuple[Sheet, Sheet]:
        return self.wide, self.narrow

    @property
    def rows(self) -> tuple[tuple[Spot, Joint | None], ...]:
        """Each position with what follows it, for the table that says the same."""
        joints = {joint.after: joint for joint in self.wide.joints}
        return tuple((spot, joints.get(spot.position)) for spot in self.wide.spots)


def drawn(kind: PackType, opening: Opening, side: LiveSide, marks: Marks | None = None) -> Drawing:
    """The path of a pack of this type as it lies open, with its live pieces."""
    told = marks or Marks()
    return Drawing(
        wide=_sheet("wide", WIDE, kind, opening, side, told),
        narrow=_sheet("narrow", NARROW, kind, opening, side, told),
        said=_said(kind, opening, side),
    )


def _said(kind: PackType, opening: Opening, side: LiveSide) -> str:
    out = ", ".join(item.name for item in opening.out) or "nothing"
    many = len(side.pieces)
    pieces = "one piece" if many == 1 else f"{many} pieces"
    return (
        f"{kind.module_count} modules from the positive end, in {pieces}; out: {out}. {side.said}"
    )


def _sheet(
    name: str, columns: int, kind: PackType, opening: Opening, side: LiveSide, marks: Marks
) -> Sheet:
    count = kind.module_count
    columns = min(columns, count)
    places = [_place(index, columns) for index in range(count)]
    return Sheet(
        kind=name,
        width=2 * SIDE + (columns - 1) * PITCH + WIDTH,
        height=-(-count // columns) * ROW,
        spots=tuple(_spots(places, kind, opening, side, marks)),
        joints=tuple(_joints(places, kind, opening, marks)),
    )


def _place(index: int, columns: int) -> tuple[int, int]:
    """The corner of the module, each second row going back."""
    row, column = divmod(index, columns)
    column = columns - 1 - column if row % 2 else column
    return SIDE + column * PITCH, TOP + row * ROW


def _spots(
    places: list[tuple[int, int]],
    kind: PackType,
    opening: Opening,
    side: LiveSide,
    marks: Marks,
) -> Iterator[Spot]:
    blocks = [number for number, size in enumerate(kind.blocks, 1) for _ in range(size)]
    live = {piece.first: f"≤ {piece.highest_v:.1f} V" for piece in side.pieces}
    for position, (x, y) in enumerate(places, 1):
        seat = opening.seen.get(position, Seat(position, orientation=""))
        volts = opening.polarity.get(position)
        yield Spot(
            x=x,
            y=y,
            position=position,
            block=blocks[position - 1],
            reversed=seat.orientation == "reversed",
            seat=seat,
            out=Item("module", position) in opening.out,
            chosen=position in marks.positions,
            reading="" if volts is None else f"{volts:.2f} V".replace("-", "−"),
            wrong=volts is not None and not shows_plus(volts),
            live=live.get(position, ""),
            word=marks.words.get(position, ""),
        )


def _joints(
    places: list[tuple[int, int]], kind: PackType, opening: Opening, marks: Marks
) -> Iterator[Joint]:
    switch_after = kind.layout.switch_after
    for after, (here, there) in enumerate(pairwise(places), 1):
        x1, y1, x2, y2 = _between(here, there)
        yield Joint(
            x1=x1,
            y1=y1,
            x2=x2,
            y2=y2,
            after=after,
            switch=after == switch_after,
            open=after in opening.joints_open,
            chosen=after in marks.joints,
        )


def _between(here: tuple[int, int], there: tuple[int, int]) -> tuple[int, int, int, int]:
    """From the edge of one module to that of the next, beside it or in the row below."""
    if here[1] != there[1]:
        middle = here[0] + WIDTH // 2
        return middle, here[1] + HEIGHT, middle, there[1]
    left, right = sorted((here, there))
    level = left[1] + HEIGHT // 2
    return left[0] + WIDTH, level, right[0], level
