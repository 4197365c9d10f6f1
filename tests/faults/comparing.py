"""Posts lines by both ways into the same register, and compares; runs inside the service."""

import json
import logging
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from django.apps import apps
from django.core.management import call_command
from django.db import transaction
from django.db.models import DateTimeField
from rest_framework.test import APIClient

from packs.models import Equipment, Pack, PackType, VoltageCheck
from packs.rules.identity import encode
from packs.writes import visits as stays
from tests import world
from tests.faults.lines import BASES, Sender
from tests.faults.sameness import SAME

CHECKS = "/api/v1/voltage-checks/"
NDJSON = "application/x-ndjson"
TOLD = 5  # of what differs
OURS = ("id", "recorded_at", "voided_at", "settled_at", "estimate_due_at")
"""Columns that name a row or an instant of our clock: of the latter, whether there is one counts."""


@dataclass
class Compared:
    """What was answered, by status and by code, what was stored, and what differs."""

    statuses: Counter[int] = field(default_factory=Counter)
    codes: Counter[str] = field(default_factory=Counter)
    stored: int = 0
    differing: list[str] = field(default_factory=list)


def found() -> tuple[list[str], list[str]]:
    """Packs of four types, and what checks may name; the ids of visits and of earlier checks."""
    world.pack_type()
    order = [*range(14, 0, -1)]
    world.pack_type("NM-14U", module_count=14, modules_per_block=1, monitor_order=order)
    world.pack_type("NM-11", module_count=11, modules_per_block=None, blocks=[2, 2, 2, 2, 3])
    lithium = {"chemistry": "li_ion", "cells_per_module": 4, "cell_nominal_v": 3.6}
    world.pack_type("LI-8", module_count=8, **lithium)
    kinds = {"A-1": "NM-28", "A-2": "NM-14U", "A-3": "NM-11", "A-4": "LI-8"}
    made = {
        serial: world.pack(
            serial,
            PackType.objects.get(code=code),
            built_on=date(2024, 2, 1) if serial == "A-2" else None,
        )
        for serial, code in kinds.items()
    }
    world.person("kim")
    Equipment.objects.create(code="E-1", kind="meter", **world.posted(b"-"))
    bases = [world.check(made["A-1"], current_a=at / 100) for at in range(BASES)]
    stay = {"pack": "A-1", "opened_at": world.later(days=1)}
    opened = stays.open_visit(by=world.actor(), at=world.later(days=1), entry=stay).row
    return [encode(opened.PREFIX, opened.pk)], [
        encode(VoltageCheck.PREFIX, base.pk) for base in bases
    ]


def compare(client: APIClient, said: Sequence[bytes]) -> Compared:
    """Post the lines as a stream, take that back, and post them one by one."""
    client.get(CHECKS)
    with transaction.atomic():
        heard, stored, there = as_stream(client, said), records(), places()
        transaction.set_rollback(True)
    streamed = named(heard, there)
    alone = named(one_by_one(client, said), places())
    done = Compared(stored=len(stored["checks"]))
    for number, raw in enumerate(said, 1):
        if streamed.get(number) != alone.get(number):
            told = f"as a stream {streamed.get(number)}, alone {alone.get(number)}"
            done.differing.append(f"line {number} {raw[:300]!r}: {told}")
    for status, errors, _ in streamed.values():
        done.statuses[status] += 1
        done.codes.update(error["code"] for error in errors or [])
    again = records()
    for kind, rows in stored.items():
        differing = [(a, b) for a, b in zip(rows, again[kind], strict=False) if a != b]
        done.differing += [f"{kind}: {a} as a stream, {b} alone" for a, b in differing]
        if len(rows) != len(again[kind]):
            done.differing.append(f"{len(rows)} {kind} as a stream, {len(again[kind])} alone")
    return done


def as_stream(client: APIClient, said: Sequence[bytes]) -> dict[int, Any]:
    """Status, errors and record by the number of the line."""
    answer: Any = client.post(CHECKS, b"\n".join(said), content_type=NDJSON)
    *told, last = [json.loads(line) for line in b"".join(answer.streaming_content).splitlines()]
    assert sum(last["summary"].values()) == len(told)
    return {one["line"]: _heard(one["status"], one) for one in told}


def one_by_one(client: APIClient, said: Sequence[bytes]) -> dict[int, Any]:
    """The same from single posts; a blank line is none."""
    told = {}
    for number, raw in enumerate(said, 1):
        if raw.strip():
            answer: Any = client.post(CHECKS, raw, content_type="application/json")
            told[number] = _heard(answer.status_code, answer.json())
    return told


def _heard(status: int, told: dict[str, Any]) -> Any:
    """The sentence about a time ahead of the clock names the clock, which goes on."""
    errors = told.get("errors")
    if errors is not None:
        errors = [{**e, "detail": ""} if e["code"] == "in_the_future" else e for e in errors]
    return status, errors, told.get("id")


def places() -> dict[str, Any]:
    """Pack and revision of each check by its id, which differs from one way to the other."""
    rows = VoltageCheck.objects.values_list("pk", "pack", "revision")
    return {encode(VoltageCheck.PREFIX, pk): place for pk, *place in rows}


def named(heard: dict[int, Any], there: dict[str, Any]) -> dict[int, Any]:
    """What was answered, each record told by pack and revision."""
    return {
        number: (status, errors, None if told is None else there[told])
        for number, (status, errors, told) in heard.items()
    }


def records() -> dict[str, list[Any]]:
    """Checks and packs column by column, and how many rows every table has."""
    counts = [
        (model._meta.label, model._default_manager.count())
        for model in apps.get_app_config("packs").get_models()
    ]
    return {
        "checks": _rows(VoltageCheck, "pack", "revision"),
        "packs": _rows(Pack, "pk"),
        "tables": counts,
    }


def _rows(model: type[Any], *order: str) -> list[Any]:
    columns = {one.attname: one for one in model._meta.concrete_fields}
    return [
        {name: _plain(name, columns[name], value) for name, value in row.items()}
        for row in model._default_manager.order_by(*order).values(*columns)
    ]


def _plain(name: str, column: Any, value: Any) -> Any:
    if name in OURS:
        return value is not None if isinstance(column, DateTimeField) else None
    if hasattr(value, "tolist"):
        return value.tolist()
    return bytes(value) if isinstance(value, memoryview) else value


def show(count: int, seed: int) -> None:
    """Migrate, compare so many lines, and print figures."""
    logging.disable(logging.WARNING)  # of every refusal there is one
    call_command("migrate", interactive=False, verbosity=0)
    visits, bases = found()
    said = [*Sender(seed, visits=visits, bases=bases).lines(count)]
    client = APIClient(raise_request_exception=False)
    secret = world.token("machine", world.CLIENT)
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {secret}", HTTP_HOST="localhost")
    done = compare(client, said)
    print(f"{count} lines, seed {seed}: {done.stored} checks stored; answers {dict(done.statuses)}")
    print(f"{len(done.codes)} kinds of faults: {dict(done.codes.most_common())}")
    for one in done.differing[:TOLD]:
        print(f"DIFFERS {one}")
    print(SAME if not done.differing else f"{len(done.differing)} differences.")
