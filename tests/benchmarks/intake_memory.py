"""How much the web process grows while it takes in a million lines: `... intake --memory`."""

import http.client
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.core.management import call_command

from tests import world
from tests.benchmarks.intake_costs import LINES, PACKS, checks, posted, serving

MANY = 1_000_000
PIECE = 500  # lines that are sent at once


def grown(count: int = MANY) -> float:
    """MB by which the peak of a worker's memory is over what it holds when idle."""
    world.pack_type()
    for number in range(PACKS):
        world.pack(f"TP-{number:05d}")
    token = world.token("machine")
    bare = [{**one, "external_id": ""} for one in checks(PACKS, "m")]
    with serving() as (port, server):
        posted(port, "/api/v1/voltage-checks/", json.dumps(bare[0]).encode(), LINES, token)
        worker = _worker(server.pid)
        idle = _held(worker, "VmRSS")
        told = _streamed(port, token, bare, count)
        assert told["stored"] == count, told
        return (_held(worker, "VmHWM") - idle) / 1024


def _streamed(port: int, token: str, said: list[dict[str, Any]], count: int) -> dict[str, int]:
    line = http.client.HTTPConnection("127.0.0.1", port, timeout=3600)
    headers = {"Content-Type": LINES, "Authorization": f"Bearer {token}"}
    line.request(
        "POST", "/api/v1/voltage-checks/", _pieces(said, count), headers, encode_chunked=True
    )
    answer = line.getresponse()
    last = b""
    while piece := answer.read(1 << 20):
        last = (last + piece)[-1000:]
    told: dict[str, int] = json.loads(last.splitlines()[-1])["summary"]
    return told


def _pieces(said: list[dict[str, Any]], count: int) -> Iterator[bytes]:
    """Lines that differ in their external id alone, never all at once."""
    begun = [json.dumps(one).encode().removesuffix(b'"}') for one in said]
    for start in range(0, count, PIECE):
        yield b"".join(
            b'%bm-%d"}\n' % (begun[number % len(begun)], number)
            for number in range(start, min(start + PIECE, count))
        )


def _worker(server: int) -> int:
    """The process that serves: the first child of the one that was started."""
    children = Path(f"/proc/{server}/task/{server}/children").read_text().split()
    return int(children[0])


def _held(process: int, name: str) -> int:
    """Of a process, in kB, as Linux tells it."""
    for line in Path(f"/proc/{process}/status").read_text().splitlines():
        if line.startswith(f"{name}:"):
            return int(line.split()[1])
    raise LookupError(name)


def measure() -> None:
    call_command("migrate", verbosity=0)
    print(f"{MANY} lines: the web process grew by {grown():.0f} MB over its idle state")
