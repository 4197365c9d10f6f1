"""What was done on a pack and found in it, and the cars it was in, in words."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from packs.models import Finding, Inspection, Installation, Site, Swap, SwapChange
from packs.pages.units import distance
from reports.pages.figures import capital


@dataclass(frozen=True)
class Done:
    """Work on the pack: when, and what."""

    at: datetime
    said: str


@dataclass(frozen=True)
class Stay:
    """A time in a car, with the odometer at its ends."""

    row: Installation
    odometer: str


def done(swaps: Iterable[Swap]) -> list[Done]:
    return [Done(swap.done_at, f"{capital('; '.join(_changes(swap)))}.") for swap in swaps]


def _changes(swap: Swap) -> Iterator[str]:
    """Modules by their tags, those without tags together, then parts by their slots."""
    changes = list(swap.changes.all())
    nameless = [one for one in changes if one.position and not (one.removed or one.fitted)]
    for one in changes:
        if one.position and (one.removed or one.fitted):
            yield f"module {one.position} replaced: {', '.join(_tags(one))}"
    if nameless:
        many = "s" if len(nameless) > 1 else ""
        numbers = _listed([str(one.position) for one in nameless])
        yield f"module{many} {numbers} replaced (tags not recorded)"
    for one in changes:
        if one.slot:
            yield f"{slot_words(one.slot)} replaced"


def _tags(change: SwapChange) -> Iterator[str]:
    if change.removed is not None:
        yield f"{change.removed.tag} out"
    if change.fitted is not None:
        yield f"{change.fitted.tag} in"


def _listed(words: Sequence[str]) -> str:
    return " and ".join(part for part in (", ".join(words[:-1]), words[-1]) if part)


def slot_words(slot: str) -> str:
    """`temperature_sensor:2` as people say it."""
    return slot.replace("_", " ").replace(":", " ")


def findings(inspection: Inspection) -> str:
    """What an inspection found; grade 0 is nothing, whatever it was filed under."""
    found = [_found(one) for one in inspection.findings.all() if one.grade or one.note]
    return "; ".join(found) or "nothing found"


def _found(one: Finding) -> str:
    position = f", position {one.position}" if one.position else ""
    note = f" ({one.note})" if one.note else ""
    return (
        f"{one.get_finding_display().lower()} at {one.part}{position}, grade {one.grade} of 3{note}"
    )


def stays(installations: Iterable[Installation], site: Site) -> list[Stay]:
    return [Stay(row, _odometer(row, site)) for row in installations]


def _odometer(row: Installation, site: Site) -> str:
    begun, ended = distance(row.installed_km, site), distance(row.removed_km, site)
    if begun and ended:
        return f"{begun} to {ended}"
    return f"from {begun}" if begun else f"to {ended}" if ended else "not known"
