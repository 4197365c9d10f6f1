"""The measuring of intake, in a process that has a register of its own."""

import http.client
import json
import os
import random
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.core.management import call_command
from django.db import connection

from tests import servers, world
from tests.benchmarks.intake_rivals import Reading

CHECKS, POSITIONS, PACKS = 50_000, 28, 2_000
STOCK_CHECKS, PLAIN_CHECKS, WARM = 40, 1_000, 200
JSON, LINES = "application/json", "application/x-ndjson"


@contextmanager
def serving() -> Iterator[int]:
    """One worker of the web server, with the rivals; its port."""
    port = servers.free_port()
    command = [
        sys.executable, "-m", "gunicorn", "tests.benchmarks.intake_wsgi",
        "--bind", f"127.0.0.1:{port}", "--workers", "1", "--threads", "2", "--timeout", "600",
        "--log-level", "error",
    ]  # fmt: skip
    with subprocess.Popen(command, env=os.environ) as running:
        try:
            servers.wait_for_port(port)
            yield port
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


def copied() -> float:
    """Seconds of a bare COPY of the stored rows into a table with the same indexes and checks."""
    with connection.cursor() as cursor:
        with cursor.cursor.copy("COPY packs_voltagecheck TO STDOUT (FORMAT BINARY)") as out:
            rows = b"".join(bytes(part) for part in out)
        cursor.execute("CREATE TABLE bare (LIKE packs_voltagecheck INCLUDING ALL)")
        begun = time.perf_counter()
        with cursor.cursor.copy("COPY bare FROM STDIN (FORMAT BINARY)") as into:
            into.write(rows)
        return time.perf_counter() - begun


def measure() -> None:
    call_command("migrate", verbosity=0)
    with connection.schema_editor() as editor:
        editor.create_model(Reading)
    world.pack_type()
    numbers = {f"TP-{n:05d}": world.pack(f"TP-{n:05d}").pk for n in range(PACKS)}
    token = world.token("machine")

    def lines(said: list[dict[str, Any]]) -> bytes:
        return b"\n".join(json.dumps(one).encode() for one in said)

    def readings(said: list[dict[str, Any]]) -> bytes:
        rows = [
            {
                "pack": numbers[one["pack"]],
                "taken_at": one["taken_at"],
                "position": place,
                "voltage_v": volt,
            }
            for one in said
            for place, volt in enumerate(one["voltages_v"], 1)
        ]
        return json.dumps(rows).encode()

    with serving() as port:
        posted(port, "/api/v1/voltage-checks/", lines(checks(WARM, "warm")), LINES, token)
        posted(port, "/rivals/stock/", readings(checks(2, "w")), JSON, token)
        posted(port, "/rivals/plain/", readings(checks(2, "w")), JSON, token)
        ours = posted(port, "/api/v1/voltage-checks/", lines(checks(CHECKS, "c")), LINES, token)
        stock = posted(port, "/rivals/stock/", readings(checks(STOCK_CHECKS, "s")), JSON, token)
        by_bulk = posted(port, "/rivals/plain/", readings(checks(PLAIN_CHECKS, "p")), JSON, token)
    each = ours / CHECKS
    print(f"{CHECKS} checks of {POSITIONS} positions over HTTP: {CHECKS / ours:,.0f} a second here")
    print(
        f"  a stock ModelSerializer, a row a reading: {stock / STOCK_CHECKS / each:.0f} times ours"
    )
    print(
        f"  a plain serializer and bulk_create:       {by_bulk / PLAIN_CHECKS / each:.1f} times ours"
    )
    print(f"  ours against a bare COPY of its rows:     {ours / copied():.1f} times")
