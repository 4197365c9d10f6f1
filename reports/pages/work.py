"""What was done on a pack and found in it, and the cars it was in, in words."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from packs.models import Failure, Installation, Site
from packs.pages.units import day, distance
from reports.pages.figures import capital
from reports.reads.pack_records import Change, Failed, Found, Look, Work


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


def done(works: Iterable[Work]) -> list[Done]:
    return [Done(work.done_at, f"{capital('; '.join(_changes(work)))}.") for work in works]


def done_for_owner(works: Iterable[Work], module_count: int) -> list[Done]:
    """The same without tags: how many modules of how many, and which parts."""
    return [
        Done(work.done_at, f"{capital('; '.join(_counted(work, module_count)))}.") for work in works
    ]


def _counted(work: Work, module_count: int) -> Iterator[str]:
    modules = [one for one in work.changes if one.position]
    if modules:
        yield f"{len(modules)} of its {module_count} modules replaced"
    parts = [slot_words(one.slot) for one in work.changes if one.slot]
    if parts:
        yield f"{listed(parts)} replaced"


def _changes(work: Work) -> Iterator[str]:
    """Modules by their tags, those without tags together, then parts by their slots."""
    nameless = [one for one in work.changes if one.position and not (one.removed or one.fitted)]
    for one in work.changes:
        if one.position and (one.removed or one.fitted):
            yield f"module {one.position} replaced: {', '.join(_tags(one))}"
    if nameless:
        many = "s" if len(nameless) > 1 else ""
        numbers = listed([str(one.position) for one in nameless])
        yield f"module{many} {numbers} replaced (tags not recorded)"
    for one in work.changes:
        if one.slot:
            yield f"{slot_words(one.slot)} replaced"


def _tags(change: Change) -> Iterator[str]:
    if change.removed is not None:
        yield f"{change.removed} out"
    if change.fitted is not None:
        yield f"{change.fitted} in"


def listed(words: Sequence[str]) -> str:
    return " and ".join(part for part in (", ".join(words[:-1]), words[-1]) if part)


def slot_words(slot: str) -> str:
    """`temperature_sensor:2` and `main_contactor:plus` as people say them."""
    part, _, which = slot.replace("_", " ").partition(":")
    if which in SIDES:
        return f"{part} on the {SIDES[which]} side"
    return f"{part} {which}".strip()


SIDES = {"plus": "plus", "positive": "plus", "minus": "minus", "negative": "minus"}


def failed(failures: Iterable[Failed]) -> list[str]:
    """What the car or the bench said, newest first."""
    return [
        f"on {day(one.failed_on)}: {CAUSES[one.cause]}, {KNOWN[one.how_known]}" for one in failures
    ]


CAUSES = {cause.value: str(cause.label).lower() for cause in Failure.Cause}
KNOWN = {
    Failure.HowKnown.CODE_SET.value: "told by a trouble code",
    Failure.HowKnown.STRANDED.value: "it stopped on the road",
    Failure.HowKnown.CONDEMNED_ON_BENCH.value: "condemned on the bench",
}


def findings(look: Look) -> str:
    """What an inspection found; grade 0 is nothing, whatever it was filed under."""
    found = [_found(one) for one in look.found if one.grade or one.note]
    return "; ".join(found) or "nothing found"


def _found(one: Found) -> str:
    position = f", position {one.position}" if one.position else ""
    note = f" ({one.note})" if one.note else ""
    return f"{one.word} at {one.part}{position}, grade {one.grade} of 3{note}"


def stays(installations: Iterable[Installation], site: Site) -> list[Stay]:
    return [Stay(row, _odometer(row, site)) for row in installations]


def _odometer(row: Installation, site: Site) -> str:
    begun, ended = distance(row.installed_km, site), distance(row.removed_km, site)
    if begun and ended:
        return f"{begun} to {ended}"
    return f"from {begun}" if begun else f"to {ended}" if ended else "not known"
