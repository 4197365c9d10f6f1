"""People who do the work, and what they are qualified for."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from packs.models import Person
from packs.reads import names
from packs.writes.actors import Actor
from packs.writes.keeping import change, keep
from packs.writes.recording import Outcome


def create_person(*, by: Actor, at: datetime, entry: Mapping[str, Any]) -> Outcome[Person]:
    """Store a person; `entry` holds the fields by their names in the API."""
    content = _columns({"roles": [], "qualifications": [], "site": None, **entry})
    key = {"code": content.pop("code")}
    return keep(Person, by=by, at=at, key=key, content=content)


def change_person(
    row: Person, *, by: Actor, at: datetime, version: int, changes: Mapping[str, Any]
) -> Person:
    """Store other particulars of a person."""
    columns = _columns(changes)
    return change(row, by=by, at=at, version=version, key=row.code, changes=columns)


def _columns(said: Mapping[str, Any]) -> dict[str, Any]:
    """The columns of what is said; roles in one order, dates as JSON keeps them."""
    columns = dict(said)
    if "roles" in columns:
        columns["roles"] = sorted(set(columns["roles"] or []))
    if "qualifications" in columns:
        columns["qualifications"] = [
            {"level": held["level"], "expires_on": _plain(held.get("expires_on"))}
            for held in columns["qualifications"] or []
        ]
    if "site" in columns:
        columns["site"] = names.site(columns["site"])
    return columns


def _plain(day: Any) -> str | None:
    return None if day is None else str(day.isoformat())
