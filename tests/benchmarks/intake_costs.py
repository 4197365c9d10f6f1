"""The measuring of intake, in a process that has a register of its own."""

import http.client
import json
import os
import random
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from django.core.management import call_command
from django.db import connection

from tests import servers, world
from tests.benchmarks.intake_rivals import Reading

CHECKS, POSITIONS, PACKS = 50_000, 28, 2_000
STOCK_CHECKS, PLAIN_CHECKS, WARM = 40, 1_000, 200
ROUNDS = 5
JSON, LINES = "application/json", "application/x-ndjson"


@contextmanager
def serving() -> Iterator[tuple[int, "subprocess.Popen[bytes]"]]:
    """One worker of the web server, with the rivals; its port, and who started it."""
    port = servers.free_port()
    command = [
        sys.executable, "-m", "gunicorn", "tests.benchmarks.intake_wsgi",
        "--bind", f"127.0.0.1:{port}", "--workers", "1", "--threads", "2", "--timeout", "600",
        "--log-level", "error",
    ]  # fmt: skip
    with subprocess.Popen(command, env=os.environ) as running:
        try:
            servers.wait_for_port(port)
            yield port, running
        finally:
            running.terminate()


def checks(count: int, name: str) -> list[dict[str, Any]]:
    """Checks as a tester posts them, at rest and under load in turn."""
    rnd = random.Random(1)
    return [
        {
            "pack": f"TP-{number % PACKS:05d}",
            "taken_at": f"2025-{1 + number % 12:02d}-{1 + number % 28:02d}T10:{number % 60:02d}:00Z",
            "level": "module",
            "condition": "load" if number % 2 else "rest",
            "current_a": 20.0 if number % 2 else 0.4,
            "voltages_v": [round(rnd.gauss(7.9, 0.05), 3) for _ in range(POSITIONS)],
            "temperature_c": 25.0,
            "odometer_km": 100_000 + number,
            "external_id": f"{name}-{number}",
        }
        for number in range(count)
    ]


def posted(port: int, address: str, body: bytes, kind: str, token: str) -> float:
    """Seconds from the first byte sent to the last byte answered."""
    line = http.client.HTTPConnection("127.0.0.1", port, timeout=600)
    headers = {"Content-Type": kind, "Authorization": f"Bearer {token}"}
    begun = time.perf_counter()
    line.request("POST", address, body, headers)
    answer = line.getresponse()
    told = answer.read()
    taken = time.perf_counter() - begun
    assert answer.status in (200, 201), (answer.status, told[:300])
    return taken


def copied(into: str) -> float:
    """Seconds of a bare COPY of the stored rows into `into`, emptied first."""
    with connection.cursor() as cursor:
        with cursor.cursor.copy("COPY packs_voltagecheck TO STDOUT (FORMAT BINARY)") as out:
            rows = b"".join(bytes(part) for part in out)
        cursor.execute(f"TRUNCATE {into} CASCADE")
        begun = time.perf_counter()
        with cursor.cursor.copy(f"COPY {into} FROM STDIN (FORMAT BINARY)") as copy:
            copy.write(rows)
        return time.perf_counter() - begun


def copies() -> dict[str, float]:
    """Seconds of that by the table it goes to; last into the one that holds them, as it stands."""
    with connection.cursor() as cursor:
        cursor.execute("CREATE TABLE IF NOT EXISTS naked (LIKE packs_voltagecheck)")
        cursor.execute("CREATE TABLE IF NOT EXISTS alike (LIKE packs_voltagecheck INCLUDING ALL)")
    tables = {
        "a table without keys, indexes and constraints": "naked",
        "one with its indexes and checks, without foreign keys": "alike",
        "the table that holds them, as it stands": "packs_voltagecheck",
    }
    return {told: copied(table) for told, table in tables.items()}


def lines(said: list[dict[str, Any]]) -> bytes:
    return b"\n".join(json.dumps(one).encode() for one in said)


def readings(said: list[dict[str, Any]], packs: Mapping[str, int]) -> bytes:
    """The same a row a reading, as the rivals take them."""
    rows = [
        {
            "pack": packs[one["pack"]],
            "taken_at": one["taken_at"],
            "position": place,
            "voltage_v": volt,
        }
        for one in said
        for place, volt in enumerate(one["voltages_v"], 1)
    ]
    return json.dumps(rows).encode()


def measured(port: int, token: str, packs: Mapping[str, int], name: str) -> dict[str, float]:
    """One round, into an empty table: what is told, by its sentence."""
    with connection.cursor() as cursor:
        cursor.execute("TRUNCATE packs_voltagecheck CASCADE")
    ours = posted(port, "/api/v1/voltage-checks/", lines(checks(CHECKS, name)), LINES, token)
    stock = posted(port, "/rivals/stock/", readings(checks(STOCK_CHECKS, "s"), packs), JSON, token)
    plain = posted(port, "/rivals/plain/", readings(checks(PLAIN_CHECKS, "p"), packs), JSON, token)
    each = ours / CHECKS
    return {
        "checks a second here": CHECKS / ours,
        "times ours: a stock ModelSerializer, a row a reading": stock / STOCK_CHECKS / each,
        "times ours: a plain serializer and bulk_create": plain / PLAIN_CHECKS / each,
        **{
            f"times a bare COPY of the rows into {told}: ours": ours / seconds
            for told, seconds in copies().items()
        },
    }


def measure() -> None:
    call_command("migrate", verbosity=0)
    with connection.schema_editor() as editor:
        editor.create_model(Reading)
    world.pack_type()
    packs = {f"TP-{n:05d}": world.pack(f"TP-{n:05d}").pk for n in range(PACKS)}
    token = world.token("machine")
    with serving() as (port, _):
        posted(port, "/api/v1/voltage-checks/", lines(checks(WARM, "warm")), LINES, token)
        for rival in ("stock", "plain"):
            posted(port, f"/rivals/{rival}/", readings(checks(2, "w"), packs), JSON, token)
        rounds = [measured(port, token, packs, f"r{number}") for number in range(ROUNDS)]
    print(f"{CHECKS} checks of {POSITIONS} positions over HTTP, {ROUNDS} rounds: median (range)")
    for told in rounds[0]:
        found = sorted(one[told] for one in rounds)
        print(f"  {found[ROUNDS // 2]:8,.1f} ({found[0]:,.1f} to {found[-1]:,.1f}) {told}")
