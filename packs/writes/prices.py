"""The shop's own list: what parts and work cost, and how many hours they take."""

from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from typing import Any

from packs.errors import Contradiction, Fault
from packs.models import PriceItem
from packs.reads import names
from packs.rules.costs import cents
from packs.writes.actors import Actor
from packs.writes.keeping import change, keep
from packs.writes.recording import Outcome

AMOUNTS = ("price", "hours")


def create_price(*, by: Actor, at: datetime, entry: Mapping[str, Any]) -> Outcome[PriceItem]:
    """Store a line of the list; `entry` holds its fields by their names in the API."""
    kind, part = str(entry["kind"]), entry.get("component_kind") or ""
    faults = _faults(kind, part)
    if faults:
        raise Contradiction(faults)
    code = entry.get("pack_type")
    content = {
        "what": entry["what"],
        "kind": kind,
        "pack_type": None if code is None else names.pack_type(code),
        "component_kind": part,
        "price": cents(entry["price"]),
        "hours": cents(entry.get("hours") or Decimal(0)),
        "site": names.site(entry.get("site")),
    }
    return keep(PriceItem, by=by, at=at, key={"code": entry["code"]}, content=content)


def change_price(
    row: PriceItem, *, by: Actor, at: datetime, version: int, changes: Mapping[str, Any]
) -> PriceItem:
    """Store another price, other hours or other words."""
    said = {name: cents(v) if name in AMOUNTS else v for name, v in changes.items()}
    return change(row, by=by, at=at, version=version, key=row.code, changes=said)


def _faults(kind: str, part: str) -> list[Fault]:
    of_part = kind == PriceItem.Kinds.COMPONENT
    if of_part and not part:
        sentence = "Say which kind of part this is the price of."
        return [Fault("/component_kind", "part_needed", sentence)]
    if part and not of_part:
        sentence = "Only the price of a component names a kind of part; leave it out here."
        return [Fault("/component_kind", "no_part_here", sentence)]
    return []
