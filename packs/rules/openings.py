"""What is out of an open pack, from the steps of its teardown and reassembly in their order.

The steps are gone through from the first to the last, however late one was told; what can not
have been is a clash: taken out twice, a module that leaves between fitted bus bars, a bus bar that
joins a module which stands the wrong way round.
"""

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from packs.rules.plausible import ZERO_V

Step = Literal["out", "fitted", "polarity", "equalised", "half", "swapped", "doubted"]

PLACED = frozenset({"module", "bus_bar"})
"""Parts that sit along the series path: a module at its position, a bus bar after one."""


@dataclass(frozen=True, order=True)
class Item:
    """One thing that is taken out: a part at a place, in a slot, or as a whole."""

    part: str
    place: int | None = None
    slot: str = ""

    @property
    def name(self) -> str:
        part = self.part.replace("_", " ")
        if self.slot:
            return f"{part} {self.slot}"
        if self.place is None:
            return part
        if self.part == "bus_bar" and self.place == 0:
            return "bus bar at the positive end"
        return f"{part} {'after module ' if self.part == 'bus_bar' else ''}{self.place}"


@dataclass(frozen=True)
class Event:
    """One step: what it moved, the fasteners with it, and what was measured (V by position)."""

    key: str
    step: Step
    items: tuple[Item, ...] = ()
    fasteners: tuple[tuple[str, int], ...] = ()
    readings: Mapping[int, float] = field(default_factory=dict)
    half: int | None = None
    half_v: float | None = None
    current_a: float = 0.0


@dataclass(frozen=True)
class Clash:
    """Something a step says that can not have been: at which of its entries, and why."""

    key: str
    pointer: str
    code: str
    said: str


@dataclass(frozen=True)
class String:
    """The series path: how many modules, and after which one the service switch parts it."""

    module_count: int
    switch_after: int | None = None

    def half_of(self, position: int) -> int | None:
        if self.switch_after is None:
            return None
        return 1 if position <= self.switch_after else 2

    def positions_of(self, half: int) -> range:
        """The positions of half 1 or 2; none where the switch is not known."""
        after = self.switch_after
        if after is None:
            return range(0)
        return range(1, after + 1) if half == 1 else range(after + 1, self.module_count + 1)

    def joints_within(self, half: int) -> range:
        """The bus bars inside a half, each by the module that it follows."""
        places = self.positions_of(half)
        return places[:-1]

    def ends_of(self, joint: int) -> list[int]:
        """The positions that a bus bar touches: one at the ends of the string, else two."""
        return [at for at in (joint, joint + 1) if 1 <= at <= self.module_count]


@dataclass
class State:
    """How the pack lies after the steps so far."""

    out: dict[Item, str] = field(default_factory=dict)
    back: set[Item] = field(default_factory=set)
    came: Counter[str] = field(default_factory=Counter)
    went: Counter[str] = field(default_factory=Counter)
    touched: set[int] = field(default_factory=set)
    polarity: dict[int, float] = field(default_factory=dict)
    changed: set[int] = field(default_factory=set)
    equalised: bool = False
    rest_v: dict[int, float] = field(default_factory=dict)
    load: dict[int, tuple[float, float]] = field(default_factory=dict)
    begun: bool = False

    def is_out(self, part: str, place: int) -> bool:
        return Item(part, place) in self.out


def replay(
    string: String, events: Iterable[Event], listed: Mapping[str, int] | None = None
) -> tuple[State, tuple[Clash, ...]]:
    """The state after the steps in their order, and what in them can not have been.

    `listed`: how many fasteners of each kind the type has, empty where it lists none.
    """
    state, clashes = State(), list[Clash]()
    for event in events:
        clashes += _DO[event.step](string, state, event)
        if event.step in ("out", "fitted"):
            clashes += _count(state, event, listed or {})
    return state, tuple(clashes)


def new_clashes(
    string: String,
    before: Sequence[Event],
    after: Sequence[Event],
    listed: Mapping[str, int] | None = None,
) -> tuple[Clash, ...]:
    """What can not have been with the steps `after` and could with those `before`."""
    stood = set(replay(string, before, listed)[1])
    return tuple(clash for clash in replay(string, after, listed)[1] if clash not in stood)


def shows_plus(volts: float | None) -> bool:
    """Whether a rest voltage shows a module the right way round."""
    return volts is not None and volts > ZERO_V


def _out(string: String, state: State, event: Event) -> Iterable[Clash]:
    state.begun = True
    for index, item in enumerate(event.items):
        if item in state.out:
            said = f"The {item.name} is out already; put it back first, or correct the place."
            yield Clash(event.key, _pointer(item, index), "out_already", said)
        elif item.part == "module" and item.place is not None:
            yield from _between_bars(string, state, event, index, item.place)
        state.out[item] = event.key
        _disturb(string, state, item)


def _between_bars(
    string: String, state: State, event: Event, index: int, position: int
) -> Iterable[Clash]:
    """A module leaves only when the bus bars on both sides of it are out."""
    joints = (position - 1, position)
    inside = [at for at in joints if 1 <= at < string.module_count and at != string.switch_after]
    fitted = [at for at in inside if not state.is_out("bus_bar", at)]
    if fitted:
        names = " and ".join(f"after module {at}" for at in fitted)
        said = (
            f"Module {position} is still joined by the bus bar {names}; note that it came out "
            "first, or correct the position."
        )
        yield Clash(event.key, f"/places/{index}", "still_joined", said)


def _fasteners_alone(state: State, event: Event) -> bool:
    """Whether a step brings what was left of the fasteners of parts that are back already."""
    counted = [kind for kind, _ in event.fasteners]
    if not counted or any(state.came[kind] <= state.went[kind] for kind in counted):
        return False
    return all(item in state.back and item not in state.out for item in event.items)


def _fitted(string: String, state: State, event: Event) -> Iterable[Clash]:
    if _fasteners_alone(state, event):
        return
    for index, item in enumerate(event.items):
        if item not in state.out:
            said = f"The {item.name} was not taken out on this visit, or is back already."
            yield Clash(event.key, _pointer(item, index), "not_out", said)
        state.out.pop(item, None)
        state.back.add(item)
        if item.part == "module" and item.place is not None:
            _disturb(string, state, item)
            state.changed.add(item.place)
            state.equalised = False
    for index, item in enumerate(event.items):
        if item.part == "bus_bar" and item.place is not None:
            yield from _joining(string, state, event, index, item.place)
            _unmeasure(string, state, string.ends_of(item.place))


def _joining(string: String, state: State, event: Event, index: int, joint: int) -> Iterable[Clash]:
    """A bus bar goes in between modules that are there, and that show the right way round."""
    pointer = f"/places/{index}"
    for position in string.ends_of(joint):
        bars = [at for at in (position - 1, position) if state.is_out("bus_bar", at)]
        if state.is_out("module", position):
            said = f"Module {position} is still out; fit it before the bus bar after it or before."
            yield Clash(event.key, pointer, "module_out", said)
        elif position in state.touched and not bars:
            yield from _polarity_clash(state, event, pointer, position)


def _polarity_clash(state: State, event: Event, pointer: str, position: int) -> Iterable[Clash]:
    volts = state.polarity.get(position)
    if volts is None:
        said = (
            f"Position {position} was open and its polarity was not measured since; measure its "
            "rest voltage with the sign before its last bus bar."
        )
        yield Clash(event.key, pointer, "polarity_missing", said)
    elif not shows_plus(volts):
        yield Clash(event.key, pointer, "wrong_way_round", wrong_way(position, volts))


def wrong_way(position: int, volts: float) -> str:
    """What to do about a position whose rest voltage does not show the right way round."""
    if volts < -ZERO_V:
        return (
            f"Position {position} reads {volts:.2f} V: it stands the wrong way round. Turn it and "
            "measure it again before its last bus bar goes in."
        )
    return (
        f"Position {position} reads {volts:.2f} V, which shows no polarity: look at the leads, "
        "measure again, and test the module before it is joined."
    )


def unequal(positions: Sequence[int]) -> str:
    """What to do about modules that were taken out or changed and are not of equal charge."""
    places = ", ".join(str(at) for at in positions)
    which, them = ("Module", "it") if len(positions) == 1 else ("Modules", "them")
    was = "was" if len(positions) == 1 else "were"
    return (
        f"{which} {places} {was} taken out or changed: bring {them} to equal charge with the "
        "others, and note the rest voltages."
    )


def _measured(string: String, state: State, event: Event) -> Iterable[Clash]:
    for index, (position, volts) in enumerate(event.readings.items()):
        if state.is_out("module", position):
            said = f"Module {position} is out; fit it, then measure it where it sits."
            yield Clash(event.key, f"/readings/{index}/position", "module_out", said)
        state.polarity[position] = volts


def _equalised(string: String, state: State, event: Event) -> Iterable[Clash]:
    """It counts where every module that was taken out or changed was read with the others."""
    for index, position in enumerate(event.readings):
        if state.is_out("module", position):
            said = f"Module {position} is out; fit it, then measure it where it sits."
            yield Clash(event.key, f"/readings/{index}/position", "module_out", said)
    state.equalised = state.changed <= set(event.readings)


def _half(string: String, state: State, event: Event) -> Iterable[Clash]:
    assert event.half is not None
    assert event.half_v is not None
    open_at = [at for at in string.joints_within(event.half) if state.is_out("bus_bar", at)]
    gone = [at for at in string.positions_of(event.half) if state.is_out("module", at)]
    if open_at or gone:
        names = [Item("module", at).name for at in gone]
        names += [Item("bus_bar", at).name for at in open_at]
        said = (
            f"Half {event.half} is not whole: still out are {', '.join(names)}. Fit them, then "
            "measure the half alone."
        )
        yield Clash(event.key, "/half", "half_is_open", said)
    if event.current_a:
        state.load[event.half] = (event.half_v, event.current_a)
    else:
        state.rest_v[event.half] = event.half_v


def _swapped(string: String, state: State, event: Event) -> Iterable[Clash]:
    for item in event.items:
        assert item.place is not None
        _disturb(string, state, item)
        state.changed.add(item.place)
        state.equalised = False
    return ()


def _doubted(string: String, state: State, event: Event) -> Iterable[Clash]:
    """A step that was taken back: nobody knows that it was not done, so what it would have
    disturbed is proved again."""
    for item in event.items:
        if item.part in PLACED and item.place is not None:
            state.begun = True
            _disturb(string, state, item)
    return ()


def _disturb(string: String, state: State, item: Item) -> None:
    """Positions whose way round is no longer proved, and halves no longer measured."""
    if item.part not in PLACED or item.place is None:
        return
    places = [item.place] if item.part == "module" else string.ends_of(item.place)
    state.touched |= set(places)
    for position in places:
        state.polarity.pop(position, None)
    _unmeasure(string, state, places)


def _unmeasure(string: String, state: State, places: Iterable[int]) -> None:
    for half in {string.half_of(position) for position in places} - {None}:
        assert half is not None
        state.rest_v.pop(half, None)
        state.load.pop(half, None)


def _count(state: State, event: Event, listed: Mapping[str, int]) -> Iterable[Clash]:
    moved = state.came if event.step == "out" else state.went
    for index, (kind, count) in enumerate(event.fasteners):
        moved[kind] += count
        out = state.came[kind] - state.went[kind]
        if out < 0:
            said = (
                f"{count} of '{kind}' went back, {-out} more than are out; count them again, or "
                "note those that came out."
            )
            yield Clash(event.key, f"/fasteners/{index}/count", "more_back_than_out", said)
        if kind in listed and out > listed[kind]:
            said = (
                f"{out} of '{kind}' would be out, and the type has {listed[kind]} in the whole "
                "pack; count them again, or correct the kind."
            )
            yield Clash(event.key, f"/fasteners/{index}/count", "more_than_the_type_has", said)


def _pointer(item: Item, index: int) -> str:
    if item.slot:
        return "/slot"
    return "/part" if item.place is None else f"/places/{index}"


_DO: Mapping[Step, Callable[[String, State, Event], Iterable[Clash]]] = {
    "out": _out,
    "fitted": _fitted,
    "polarity": _measured,
    "equalised": _equalised,
    "half": _half,
    "swapped": _swapped,
    "doubted": _doubted,
}
