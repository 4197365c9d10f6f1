"""The lines of the history as a person would note them, in the units and dates of the site."""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date

from packs.models import Pack, Site
from packs.pages.units import day, distance
from packs.reads.history import Line
from reports.pages.figures import capital
from reports.pages.work import listed, slot_words

VOIDED = " (voided)"
ISO_DAY = re.compile(r"\b\d{4}-\d\d-\d\d\b")
KM = re.compile(r"\b(\d+) km\b")
STATE = re.compile(r"(\w+) → (\w+)(?:, )?")
ODOMETER = re.compile(r"(\d+) km(?:, |$)")
MODULE = re.compile(r"(\d+) \(([^()]*?) to ([^()]*?)\)")
FOUND = re.compile(r"([a-z ]+) \(grade (\d)(?:, position (\d+))?\)")
VIN = re.compile(r"^Put into (\S+)")
STATES = {
    "open": "Begun again",
    "waiting": "Waiting",
    "ready": "Ready to be collected",
    "closed": "Left the shop",
}
UNNAMED = "?"


@dataclass(frozen=True)
class Around:
    """What the words lean on: the site, and by VIN the plates of the cars it was in."""

    site: Site
    plates: Mapping[str, str]


def told(line: Line, around: Around) -> str:
    """One line; what no longer counts says so."""
    summary, voided, _ = line.summary.partition(VOIDED)
    say = SAYINGS.get(line.kind)
    said = summary if say is None else say(summary, around)
    said = ISO_DAY.sub(_day, said)
    said = re.sub(r"^([A-Z][a-z ]+) voided: ", r"\1 taken out of account: ", said)
    return f"{said} (no longer counts)" if voided else said


def _day(found: re.Match[str]) -> str:
    try:
        return day(date.fromisoformat(found[0]))
    except ValueError:
        return found[0]


def _km(said: str, around: Around) -> str:
    return KM.sub(lambda found: distance(int(found[1]), around.site), said)


def _visit(said: str, around: Around) -> str:
    """A visit that began, or what became of it."""
    head, _, rest = said.partition(": ")
    if head == "Visit opened":
        return f"Came in: {rest}" if rest else "Came in"
    if head != "Visit changed":
        return said
    parts: list[str] = []
    if state := STATE.match(rest):
        rest = rest[state.end() :]
        parts.append(STATES.get(state[2], state[2]))
    if odometer := ODOMETER.match(rest):
        rest = rest[odometer.end() :]
        parts.append(f"odometer {distance(int(odometer[1]), around.site)}")
    if rest:
        parts.append(rest)
    return capital(", ".join(parts)) or "Visit noted anew"


def _swap(said: str, around: Around) -> str:
    """Modules by position with their tags, parts by their names."""
    head, _, rest = said.partition(": ")
    if head == "Parts changed":
        return f"{capital(listed([slot_words(slot) for slot in rest.split(', ')]))} replaced"
    changes = MODULE.findall(said)
    if not said.startswith("Modules changed at ") or not changes:
        return said
    numbers = listed([place for place, _, _ in changes])
    tags = "; ".join(part for part in (_tags(*one) for one in changes) if part)
    many = "s" if len(changes) > 1 else ""
    return f"Module{many} {numbers} replaced" + (f" ({tags})" if tags else "")


def _tags(place: str, removed: str, fitted: str) -> str:
    told = [f"{tag} {way}" for tag, way in ((removed, "out"), (fitted, "in")) if tag != UNNAMED]
    return f"{place}: {', '.join(told)}" if told else ""


def _inspection(said: str, around: Around) -> str:
    _, _, rest = said.partition(": ")
    found = [_found(*one) for one in FOUND.findall(rest) if one[1] != "0"]
    if said.startswith("Inspection: ") and FOUND.search(rest):
        return f"Inspected: {', '.join(found) or 'nothing found'}"
    return said.replace("Inspection: ", "Inspected: ", 1)


def _found(what: str, grade: str, position: str) -> str:
    where = f" at position {position}" if position else ""
    return f"{what.strip()}{where}, grade {grade} of 3"


def _installation(said: str, around: Around) -> str:
    def car(found: re.Match[str]) -> str:
        return f"Put into {around.plates.get(found[1]) or found[1]}"

    return _km(VIN.sub(car, said), around)


def _pack(said: str, around: Around) -> str:
    before, arrow, after = said.partition(" → ")
    if not arrow or not before.startswith("Status "):
        return said
    words = {status.value.replace("_", " "): STATUS[status] for status in Pack.Status}
    return words.get(after, f"Now {after}")


def _warranty(said: str, around: Around) -> str:
    """Months and distance, whichever ends first."""
    head, _, terms = said.partition(": ")
    given = head.replace("Warranty for", "Warranty given for", 1)
    return _km(f"{given}: {terms.replace(', ', ' or ')}", around) if terms else said


def _claim(said: str, around: Around) -> str:
    return said.replace("Claim under warranty: ", "Claim under warranty, ", 1)


def _failure(said: str, around: Around) -> str:
    return said.replace(", code set", ", told by a trouble code").replace(
        ", condemned on bench", ", condemned on the bench"
    )


STATUS = {
    Pack.Status.IN_SERVICE: "In service again",
    Pack.Status.IN_SHOP: "Now in the shop",
    Pack.Status.SHELF: "Put on the shelf",
    Pack.Status.LOAN: "Lent out",
    Pack.Status.SOLD: "Sold",
    Pack.Status.CORE_DUE: "To go back as a core",
    Pack.Status.DISMANTLED: "Dismantled for its parts",
    Pack.Status.SCRAPPED: "Scrapped",
}
SAYINGS: Mapping[str, Callable[[str, Around], str]] = {
    "visit": _visit,
    "swap": _swap,
    "inspection": _inspection,
    "installation": _installation,
    "pack": _pack,
    "warranty": _warranty,
    "claim": _claim,
    "failure": _failure,
}
