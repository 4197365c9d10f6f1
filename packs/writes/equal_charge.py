"""Equal charge of modules that were taken out or changed, before all are joined."""

from collections.abc import Iterator, Mapping
from typing import Any

from packs.errors import Fault
from packs.models import Part, Reassembly
from packs.reads.openings import Opening


def uncovered_faults(opening: Opening, entry: Mapping[str, Any]) -> Iterator[Fault]:
    """Every module that was taken out or changed is read with the others."""
    if entry["kind"] != Reassembly.Kinds.EQUALISED:
        return
    read = {row["position"] for row in entry.get("readings") or ()}
    left = sorted(opening.changed - read)
    if left and read:
        places = ", ".join(str(at) for at in left)
        sentence = f"Give the rest voltages of {places} too, which were taken out or changed."
        yield Fault("/readings", "not_covered", sentence)


def warnings(opening: Opening, entry: Mapping[str, Any]) -> Iterator[str]:
    """What is kept and told of a bus bar that joins a module not yet of equal charge."""
    if entry["kind"] != Reassembly.Kinds.FITTED or entry["part"] != Part.BUS_BAR:
        return
    if opening.equalised is not False:
        return
    beside = {at for place in entry.get("places") or () for at in (place, place + 1)}
    for position in sorted(opening.changed & beside):
        yield (
            f"Module {position} was taken out or changed and is not brought to equal charge yet: "
            "do it before its last bus bar goes in, and note the rest voltages."
        )
