"""Customers: personal data, kept in one table, and the keys it is searched by."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from packs.models import Customer
from packs.rules.people import name_key, phone_key
from packs.writes.actors import Actor
from packs.writes.keeping import change
from packs.writes.posting import post
from packs.writes.recording import Outcome

PERSONAL = frozenset({"name", "phone", "email", "name_key", "phone_key"})


def create_customer(*, by: Actor, at: datetime, entry: Mapping[str, Any]) -> Outcome[Customer]:
    """Store a customer; `entry` holds the fields by their names in the API."""
    content = {name: entry.get(name) or "" for name in ("name", "phone", "email")}
    return post(
        Customer,
        by=by,
        at=at,
        external_id=entry.get("external_id"),
        content=content,
        beside=_keys(content),
    )


def change_customer(
    row: Customer, *, by: Actor, at: datetime, version: int, changes: Mapping[str, Any]
) -> Customer:
    """Store other particulars; the log keeps only which of them changed."""
    said = {name: value or "" for name, value in changes.items()}
    return change(
        row,
        by=by,
        at=at,
        version=version,
        key=str(row.pk),
        changes={**said, **_keys(said)},
        personal=PERSONAL,
    )


def _keys(said: Mapping[str, str]) -> dict[str, str]:
    """The columns that search compares, for the particulars that are said."""
    keys = {"name": ("name_key", name_key), "phone": ("phone_key", phone_key)}
    return {column: key(said[name]) for name, (column, key) in keys.items() if name in said}
