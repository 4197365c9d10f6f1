"""A small shop to test in: clients, pack types, packs and checks, each made in one call."""

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

from django.apps import apps
from django.db import connection

from packs.models import (
    Client,
    Module,
    Pack,
    PackType,
    Person,
    Role,
    VoltageCheck,
)
from packs.rules.vehicles import alike_key
from packs.rules.voltages import to_units
from packs.writes import checks, clients, pack_types, packs
from packs.writes.actors import Actor
from packs.writes.digests import digest

BEGUN = datetime(2024, 3, 1, 9, 0, tzinfo=UTC)  # when this shop began to record
CLIENT = "test bench"


def later(days: float = 0, **more: float) -> datetime:
    """An instant after the shop began."""
    return BEGUN + timedelta(days=days, **more)


def actor(role: Role | str = Role.MANAGER, name: str = CLIENT) -> Actor:
    """Somebody who writes, without a request."""
    client, _ = Client.objects.get_or_create(name=name, defaults={"created_at": BEGUN})
    return Actor(client=client, roles=frozenset({str(role)}))


def token(role: Role | str, name: str | None = None) -> str:
    """The secret of a new token; each role is a client of its own unless named."""
    return clients.create_token(role=Role(role), name=name or f"a {role}", at=BEGUN)


def pack_type(code: str = "NM-28", **changes: Any) -> PackType:
    """A type of 28 modules of 6 nickel-metal-hydride cells in 14 blocks, at version 1."""
    count = changes.get("module_count", 28)
    entry: dict[str, Any] = {
        "code": code,
        "name": f"Type {code}",
        "chemistry": "nimh",
        "module_count": count,
        "cells_per_module": 6,
        "cell_nominal_v": 1.2,
        "modules_per_block": 1 if count % 2 else 2,
        "rated_capacity_ah": 6.5,
        "reference_load_a": 20.0,
        "load_spread_limit_v": 1.2,
        "rest_spread_limit_v": 0.3,
        **changes,
    }
    return pack_types.create_pack_type(by=actor(), at=BEGUN, entry=entry).row


def posted(content_digest: bytes, at: datetime = BEGUN) -> dict[str, Any]:
    """What every kept row carries."""
    return {"recorded_at": at, "client": actor().client, "digest": content_digest}


def pack(
    serial: str = "TP-0001", kind: PackType | None = None, *, at: datetime = BEGUN, **entry: Any
) -> Pack:
    """A pack with a nameless module at each position, recorded `at`."""
    kind = kind or PackType.objects.filter(code="NM-28").first() or pack_type()
    entry = {"serial": serial, "pack_type": kind.code, **entry}
    return packs.create_pack(by=actor(), at=at, entry=entry).row


def person(code: str = "kim", **changes: Any) -> Person:
    """Somebody who works here."""
    content = {"name": code.capitalize(), "roles": ["bench"], **changes}
    return Person.objects.create(code=code, **content, **posted(digest(content)))


def module(tag: str = "M-1", **changes: Any) -> Module:
    """A module in stock."""
    content = {"form": Module.Form.PRISMATIC, "cells": 6, **changes}
    known = {"tag": tag, "tag_alike": alike_key(tag)}
    return Module.objects.create(**known, **content, **posted(digest({"tag": tag, **content})))


def healthy_v(count: int = 28, level_v: float = 7.9) -> list[float]:
    """Voltages of `count` modules at rest that differ a little, V."""
    return [round(level_v + 0.01 * (place % 3), 4) for place in range(count)]


def check_body(pack: Pack | str, /, **changes: Any) -> dict[str, Any]:
    """A voltage check as a program sends it: all modules of NM-28 at rest."""
    return {
        "pack": pack if isinstance(pack, str) else pack.serial,
        "taken_at": later(days=1).isoformat(),
        "level": "module",
        "condition": "rest",
        "current_a": 0.0,
        "voltages_v": healthy_v(),
        **changes,
    }


def check(
    pack: Pack,
    voltages_v: Sequence[float | None] | None = None,
    *,
    at: datetime | None = None,
    by: Actor | None = None,
    **changes: Any,
) -> VoltageCheck:
    """A stored voltage check, recorded `at` (a minute after it was taken)."""
    volts = healthy_v(pack.pack_type.module_count) if voltages_v is None else voltages_v
    entry: Mapping[str, Any] = {
        **check_body(pack),
        "taken_at": later(days=1),
        **changes,
        "voltages_v": to_units(volts),
    }
    recorded_at = at or entry["taken_at"] + timedelta(minutes=1)
    return checks.record(by=by or actor(), at=recorded_at, entry=entry).row


def contents() -> str:
    """A digest of every row of every table of ours, to see that nothing changed."""
    summed = hashlib.sha256()
    for label in ("packs", "reports"):
        for model in apps.get_app_config(label).get_models():
            for row in _rows(model._meta.db_table, str(model._meta.pk.column)):
                summed.update(repr((model._meta.db_table, row)).encode())
    return summed.hexdigest()


def _rows(table: str, key: str) -> Iterator[Any]:
    """Rows without what is only the use of a token."""
    with connection.cursor() as cursor:
        cursor.execute(f'SELECT * FROM {table} ORDER BY "{key}"')
        names = [column[0] for column in cursor.description]
        for row in cursor.fetchall():
            said = dict(zip(names, row, strict=True))
            said.pop("last_used_at", None)
            yield sorted((name, _plain(value)) for name, value in said.items())


def _plain(value: Any) -> Any:
    return bytes(value) if isinstance(value, memoryview) else value
