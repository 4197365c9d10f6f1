"""The main job over HTTP alone: posted checks become outlooks, whatever the order they come in."""

import json
import random
from datetime import timedelta
from typing import Any
from urllib.error import HTTPError
from urllib.parse import quote
from urllib.request import Request, urlopen

import pytest
from pytest_django.live_server_helper import LiveServer

from tests import world

pytestmark = pytest.mark.django_db(transaction=True)

SEED = 20
PACKS, ROUNDS, BAD = 25, 16, 40
TYPE = {
    "code": "LINE-12", "name": "Twelve blocks", "chemistry": "nimh", "module_count": 24,
    "cells_per_module": 8, "cell_nominal_v": 1.2, "modules_per_block": 2,
    "rated_capacity_ah": 6.0, "reference_load_a": 40, "load_spread_limit_v": 1.5,
    "rest_spread_limit_v": 0.4,
}  # fmt: skip


class Program:
    """A program that knows the address and a token, and nothing of the inside."""

    def __init__(self, address: str, token: str) -> None:
        self.base = f"{address}/api/v1/"
        self.token = token

    def call(self, method: str, path: str, body: bytes | None = None, **headers: str) -> Any:
        sent = {"Authorization": f"Bearer {self.token}", "Content-Type": "application/json"}
        address = path if path.startswith("http") else self.base + path
        request = Request(address, body, {**sent, **headers}, method=method)
        try:
            with urlopen(request) as response:
                return response.status, response.read().decode()
        except HTTPError as refusal:
            return refusal.code, refusal.read().decode()

    def get(self, path: str) -> Any:
        status, text = self.call("GET", path)
        assert status == 200, text
        return json.loads(text)

    def post(self, path: str, body: Any, **headers: str) -> tuple[int, Any]:
        status, text = self.call("POST", path, json.dumps(body).encode(), **headers)
        return status, json.loads(text)

    def stream(self, lines: list[str]) -> list[Any]:
        body = "\n".join(lines).encode()
        kind = {"Content-Type": "application/x-ndjson"}
        status, text = self.call("POST", "voltage-checks/", body, **kind)
        assert status == 200, text
        return [json.loads(line) for line in text.splitlines()]


def good_lines(chance: random.Random) -> list[str]:
    """Checks of packs that drift, each at its own pace."""
    lines = []
    for pack in range(PACKS):
        pace = chance.uniform(1.0, 1.25)
        for turn in range(ROUNDS):
            volts = [round(18.6 + chance.gauss(0, 0.02), 4) for _ in range(12)]
            volts[pack % 12] -= 0.1 * pace**turn
            taken_at = world.later(days=60.0 * turn, hours=pack)
            lines.append(
                json.dumps(
                    {
                        "pack": f"L-{pack:03d}", "taken_at": taken_at.isoformat(),
                        "level": "block", "condition": "load", "current_a": 40.0,
                        "temperature_c": 25, "voltages_v": volts, "external_id": f"{pack}/{turn}",
                    }
                )
            )  # fmt: skip
    return lines


def bad_lines() -> list[str]:
    """Four kinds of mistake, each told in its own way."""
    good: dict[str, Any] = json.loads(good_lines(random.Random(SEED))[0])
    good.pop("external_id")
    mistakes: list[dict[str, Any]] = [
        {"voltages_v": [18.6] * 11},
        {"pack": "NOBODY"},
        {"current_a": True},
        {"voltages_v": [18_600.0] * 12},
    ]
    return [json.dumps({**good, **mistakes[number % 4]}) for number in range(BAD)]


@pytest.fixture
def program(live_server: LiveServer) -> Program:
    return Program(live_server.url, world.token("manager"))


def test_posted_checks_become_outlooks(program: Program) -> None:
    chance = random.Random(SEED)
    assert program.post("pack-types/", TYPE)[0] == 201
    for pack in range(PACKS):
        body = {"serial": f"L-{pack:03d}", "pack_type": TYPE["code"]}
        assert program.post("packs/", body)[0] == 201
    good, bad = good_lines(chance), bad_lines()
    lines = good + bad
    chance.shuffle(lines)

    told = program.stream(lines)
    assert told[-1] == {"summary": {"stored": len(good), "repeated": 0, "refused": BAD}}
    refused = {answer["line"] for answer in told[:-1] if "errors" in answer}
    assert refused == {number for number, line in enumerate(lines, 1) if line in bad}
    codes = {e["code"] for answer in told[:-1] for e in answer.get("errors", [])}
    assert codes == {"wrong_count", "unknown_pack", "not_a_number", "factor_1000"}

    again = program.stream(lines)
    assert again[-1] == {"summary": {"stored": 0, "repeated": len(good), "refused": BAD}}

    given = {pack: program.get(f"packs/L-{pack:03d}/outlook/") for pack in range(PACKS)}
    assert {outlook["checks_used"] for outlook in given.values()} == {ROUNDS}
    assert given[7]["weakest_position"] == 8

    swap = {
        "pack": "L-003", "done_at": world.later(days=300).isoformat(), "kind": "module",
        "changes": [{"position": 7, "removed": None, "fitted": None, "reason": "low"}],
    }  # fmt: skip
    failure = {
        "pack": "L-005", "failed_on": world.later(days=800).date().isoformat(),
        "cause": "module", "how_known": "stranded",
    }  # fmt: skip
    assert program.post("failures/", failure)[0] == 201
    assert program.post("swaps/", swap)[0] == 201
    renewed = program.get("packs/L-003/outlook/")
    assert renewed["checks_used"] == ROUNDS - 5  # those before the swap are another build's
    assert renewed["since"] == (world.BEGUN + timedelta(days=300)).isoformat().replace(
        "+00:00", "Z"
    )

    for pack in (3, 5, 9):
        then = quote(given[pack]["as_of"])
        address = f"packs/L-{pack:03d}/outlook/?as_of={then}&known_at={then}"
        assert program.get(address) == given[pack]

    listed = program.get("outlooks/?page_size=10")
    rows = listed["results"]
    while listed["next"]:
        listed = program.get(listed["next"])
        rows += listed["results"]
    assert sorted(row["pack"] for row in rows) == [f"L-{pack:03d}" for pack in range(PACKS)]


def test_history_tells_all_that_was_posted(program: Program) -> None:
    assert program.post("pack-types/", TYPE)[0] == 201
    assert program.post("packs/", {"serial": "L-000", "pack_type": TYPE["code"]})[0] == 201
    program.stream(good_lines(random.Random(SEED))[:ROUNDS])
    kinds = [line["kind"] for line in program.get("packs/L-000/history/")["results"]]
    assert kinds.count("voltage_check") == ROUNDS
    assert kinds.count("pack") == 1
