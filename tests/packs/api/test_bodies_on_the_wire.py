"""Bodies as a real server gets them: in chunks without a length, and larger than is taken."""

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from http.client import HTTPConnection
from typing import Any

import pytest

from tests import servers, world
from tests.packs.api.conftest import Api

CHECKS = "/api/v1/voltage-checks/"
JSON, NDJSON = "application/json", "application/x-ndjson"
TYPE = {
    "code": "NM-28", "name": "Demo", "chemistry": "nimh", "module_count": 28,
    "cells_per_module": 6, "cell_nominal_v": 1.2, "modules_per_block": 2, "rated_capacity_ah": 6.5,
    "reference_load_a": 20, "load_spread_limit_v": 1.2, "rest_spread_limit_v": 0.3,
}  # fmt: skip


class Wire:
    """A connection of a program with a token."""

    def __init__(self, port: int, token: str) -> None:
        self.port, self.token = port, token

    def send(self, path: str, body: Any, kind: str = JSON, **more: str) -> tuple[int, bytes]:
        """An iterable body goes in chunks; bytes go with their length."""
        connection = HTTPConnection("127.0.0.1", self.port, timeout=30)
        headers = {"Authorization": f"Bearer {self.token}", "Content-Type": kind, **more}
        chunked = not isinstance(body, bytes)
        if chunked:
            headers["Transfer-Encoding"] = "chunked"
        try:
            connection.request("POST", path, body, headers, encode_chunked=chunked)
            response = connection.getresponse()
            return response.status, response.read()
        finally:
            connection.close()


@pytest.fixture(scope="module")
def wire(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Wire]:
    """The server of a small shop over an SQLite of its own, with one pack."""
    folder, port = tmp_path_factory.mktemp("shop"), servers.free_port()
    environment = {
        **os.environ,
        "DATABASE_URL": f"sqlite:///{folder}/shop.sqlite3",
        "REDIS_URL": "",
        "SECRET_KEY": "",
    }
    command = [sys.executable, "manage.py", "serve", "--bind", f"127.0.0.1:{port}"]
    with servers.process(command, folder / "log", environment) as running:
        servers.wait_until_ready(port, running, folder / "log")
        made = Wire(port, made_token(environment))
        for path, body in (
            ("pack-types", TYPE),
            ("packs", {"serial": "TP-0001", "pack_type": "NM-28"}),
        ):
            status, told = made.send(f"/api/v1/{path}/", json.dumps(body).encode())
            assert status == 201, told
        yield made


def made_token(environment: dict[str, str]) -> str:
    command = [sys.executable, "manage.py", "create_token", "--role", "manager", "--name", "tests"]
    done = subprocess.run(command, env=environment, capture_output=True, text=True, check=True)
    return done.stdout.splitlines()[-1]


def line(**changes: Any) -> bytes:
    return json.dumps(world.check_body("TP-0001", **changes)).encode() + b"\n"


def pieces(said: bytes, size: int) -> Iterator[bytes]:
    for start in range(0, len(said), size):
        yield said[start : start + size]


def test_a_stream_in_chunks_of_no_known_length(wire: Wire) -> None:
    said = b"".join([*(line(external_id=f"c{i}") for i in range(50)), b"{\n"])
    status, told = wire.send(CHECKS, pieces(said, 700), NDJSON)
    *answers, summary = map(json.loads, told.splitlines())
    assert (status, len(answers)) == (200, 51)
    assert summary == {"summary": {"stored": 50, "repeated": 0, "refused": 1}}
    assert json.loads(wire.send(CHECKS, said, NDJSON)[1].splitlines()[-1])["summary"]["repeated"] == 50  # fmt: skip


def test_one_check_in_chunks(wire: Wire) -> None:
    assert wire.send(CHECKS, pieces(line(), 100))[0] == 201


def test_too_much_in_chunks_is_413(wire: Wire) -> None:
    status, told = wire.send(CHECKS, pieces(b" " * 9_000_000, 65536))
    assert (status, json.loads(told)["errors"][0]["code"]) == (413, "body_too_large")


@pytest.mark.parametrize(("path", "kind", "token", "status"), [(CHECKS, JSON, None, 413), (CHECKS, "text/csv", None, 415), (CHECKS, JSON, "wrong", 401), ("/api/v1/nothing/", JSON, None, 404)])  # fmt: skip
def test_who_sends_too_much_still_hears_why_not(
    wire: Wire, path: str, kind: str, token: str | None, status: int
) -> None:
    sender = Wire(wire.port, token or wire.token)
    told, body = sender.send(path, b" " * 9_000_000, kind)
    assert (told, json.loads(body)["status"]) == (status, status)


def test_a_line_of_10_mb_in_chunks_is_refused_alone(wire: Wire) -> None:
    said = line() + line(instrument="x" * 10_000_000) + line()
    told = wire.send(CHECKS, pieces(said, 65536), NDJSON)[1]
    assert [json.loads(t).get("status") for t in told.splitlines()] == [201, 413, 201, None]


def test_a_server_that_can_not_see_the_end_asks_for_the_length(api: Api) -> None:
    world.pack()
    for kind in (JSON, NDJSON):
        response = api("machine").post(
            CHECKS, line(), content_type=kind, headers={"Transfer-Encoding": "chunked"}
        )
        assert (response.status_code, response.json()["errors"][0]["code"]) == (
            411,
            "length_needed",
        )
