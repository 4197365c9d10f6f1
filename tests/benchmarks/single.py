"""One check posted alone, durable when answered, against a bare view that stores the same rows."""

import http.client
import json
import time
from statistics import median
from typing import Any

from django.core.management import call_command

from packs.models import Client
from tests import world
from tests.benchmarks.intake_costs import JSON, checks, serving

EACH, WARM = 150, 15


def measure() -> None:
    call_command("migrate", verbosity=0)
    world.pack_type()
    for number in range(EACH + WARM):
        world.pack(f"TP-{number:05d}")
    token = world.token("machine")
    client = Client.objects.get(name="a machine").pk
    with serving() as (port, _):
        line = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        ours, bare = [], []
        for one, other in zip(checks(EACH + WARM, "s"), checks(EACH + WARM, "b"), strict=True):
            ours.append(_sent(line, "/api/v1/voltage-checks/", one, token))
            bare.append(_sent(line, "/rivals/bare/", {**other, "client": client}, token))
    times = median(ours[WARM:]) / median(bare[WARM:])
    print(f"one check alone over HTTP against a bare view that stores the same: {times:.1f} times")


def _sent(
    line: http.client.HTTPConnection, address: str, said: dict[str, Any], token: str
) -> float:
    headers = {"Content-Type": JSON, "Authorization": f"Bearer {token}"}
    body = json.dumps(said).encode()
    begun = time.perf_counter()
    line.request("POST", address, body, headers)
    answer = line.getresponse()
    told = answer.read()
    taken = time.perf_counter() - begun
    assert answer.status == 201, told
    return taken
