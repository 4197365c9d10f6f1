"""Equipment: meters, testers, tools and gloves, and when each was and will be checked."""

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from packs.errors import Contradiction, Fault
from packs.models import Equipment
from packs.reads import sites
from packs.writes.actors import Actor
from packs.writes.keeping import change, keep
from packs.writes.recording import Outcome


def create_equipment(*, by: Actor, at: datetime, entry: Mapping[str, Any]) -> Outcome[Equipment]:
    """Store a piece of equipment; `entry` holds its fields by their names in the API."""
    content = _columns({"serial": None, "rating": None, **entry})
    key = {"code": content.pop("code")}
    _refuse_dates(content.get("checked_on"), content.get("due_on"), at=at)
    _refuse_future(content, at=at)
    return keep(Equipment, by=by, at=at, key=key, content=content)


def change_equipment(
    row: Equipment, *, by: Actor, at: datetime, version: int, changes: Mapping[str, Any]
) -> Equipment:
    """Store other particulars, such as the next due date."""
    columns = _columns(changes)
    checked_on = columns.get("checked_on", row.checked_on)
    _refuse_dates(checked_on, columns.get("due_on", row.due_on), at=at)
    _refuse_future(columns, at=at)
    return change(row, by=by, at=at, version=version, key=row.code, changes=columns)


def _columns(said: Mapping[str, Any]) -> dict[str, Any]:
    texts = {name: said[name] or "" for name in ("serial", "rating") if name in said}
    return {**said, **texts}


def _refuse_dates(checked_on: date | None, due_on: date | None, *, at: datetime) -> None:
    if checked_on is None:
        return
    if checked_on > sites.day(at):
        sentence = "checked_on lies in the future; give the day on which it was checked."
        raise Contradiction.at("/checked_on", "in_the_future", sentence)
    if due_on is not None and due_on < checked_on:
        sentence = "due_on is before checked_on; correct one of them."
        raise Contradiction.at("/due_on", "due_before_checked", sentence)


def _refuse_future(columns: Mapping[str, Any], *, at: datetime) -> None:
    """Nothing was issued, or went bad, on a day that has not come."""
    faults = [
        Fault(
            f"/{name}", "in_the_future", f"{name} lies in the future; give the day on which it was."
        )
        for name in ("issued_on", "bad_since")
        if columns.get(name) is not None and columns[name] > sites.day(at)
    ]
    if faults:
        raise Contradiction(faults)
