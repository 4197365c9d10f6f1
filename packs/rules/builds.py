"""What work begins a build: a pack's trend starts again where what it is read from was changed."""

from collections.abc import Collection, Iterable

REJOINED = frozenset({"bus_bar", "sense_harness"})
"""A joint or a lead undone and done up again reads otherwise than before: common practice, no
source."""

PUT_BACK = REJOINED | {"module"}
EQUALISED_ANEW = frozenset({"li_ion"})
"""Chemistries whose positions are brought to another charge by equalising, and keep it."""


def begun_by_slots(slots: Iterable[str]) -> bool:
    """Whether parts changed in these slots begin a build, such as bus_bar:5."""
    return any(slot.partition(":")[0] in REJOINED for slot in slots)


def begun_by_step(kind: str, part: str, chemistry: str) -> bool:
    """Whether a step of a reassembly begins a build."""
    if kind == "equalised":
        return chemistry in EQUALISED_ANEW
    return kind == "fitted" and part in PUT_BACK


def touched(part: str, places: Collection[int], module_count: int) -> tuple[int, ...]:
    """The module positions, from 1, that such a step touches; none means all.

    A bus bar touches the modules on both its sides, one at the ends of the string; leads and
    modules touch the places named.
    """
    if part == "bus_bar":
        places = {at for place in places for at in (place, place + 1)}
    return tuple(sorted({at for at in places if 1 <= at <= module_count}))
