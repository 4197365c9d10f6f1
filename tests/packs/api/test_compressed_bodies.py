"""Bodies with Content-Encoding: what they hold is stored, within limits, and damage is told."""

import gzip
import io
import json
import random
from typing import Any

import pytest
from rest_framework.test import APIClient

from packs.api.encodings import RATIO_FROM, Unpacked
from packs.errors import Malformed, TooLarge
from packs.models import VoltageCheck
from tests import world
from tests.packs.api.conftest import Api

CHECKS = "/api/v1/voltage-checks/"
JSON, NDJSON = "application/json", "application/x-ndjson"


@pytest.fixture
def machine(api: Api) -> APIClient:
    world.pack()
    return api("machine")


def lines(count: int) -> bytes:
    said = [world.check_body("TP-0001", external_id=f"g{number}") for number in range(count)]
    return b"\n".join(json.dumps(one).encode() for one in said)


def sent(client: APIClient, body: bytes, kind: str = NDJSON, encoding: str = "gzip") -> Any:
    return client.post(CHECKS, body, content_type=kind, headers={"Content-Encoding": encoding})


def summary(response: Any) -> dict[str, int]:
    told: dict[str, dict[str, int]] = json.loads(
        b"".join(response.streaming_content).splitlines()[-1]
    )
    return told["summary"]


@pytest.mark.parametrize("encoding", ["gzip", "GZIP", "x-gzip"])
def test_lines_come_packed(machine: APIClient, encoding: str) -> None:
    response = sent(machine, gzip.compress(lines(30)), encoding=encoding)
    assert summary(response) == {"stored": 30, "repeated": 0, "refused": 0}


def test_a_list_and_one_come_packed(machine: APIClient) -> None:
    said = [world.check_body("TP-0001", current_a=number / 10) for number in range(3)]
    listed = sent(machine, gzip.compress(json.dumps(said).encode()), JSON)
    alone = sent(machine, gzip.compress(json.dumps(said[0]).encode()), JSON)
    assert (listed.status_code, alone.status_code) == (201, 201)
    assert VoltageCheck.objects.count() == 4


def test_packed_pieces_one_after_another_are_one_body(machine: APIClient) -> None:
    said = lines(20) + b"\n"
    body = gzip.compress(said[:5000]) + gzip.compress(said[5000:])
    assert summary(sent(machine, body))["stored"] == 20


def test_nothing_packed_and_not_packed_at_all(machine: APIClient) -> None:
    assert summary(sent(machine, gzip.compress(b"")))["stored"] == 0
    assert summary(sent(machine, lines(2), encoding="identity"))["stored"] == 2


@pytest.mark.parametrize("encoding", ["br", "deflate", "zstd", "gzip, gzip"])
def test_another_packing_is_415(machine: APIClient, encoding: str) -> None:
    response = sent(machine, lines(1), encoding=encoding)
    assert response.status_code == 415
    assert "gzip" in response.json()["detail"]
    assert not VoltageCheck.objects.exists()


@pytest.mark.parametrize("kind", [JSON, NDJSON])
@pytest.mark.parametrize("body", [b"{}", gzip.compress(lines(3))[:-9], gzip.compress(b"1") + b"rest"])  # fmt: skip
def test_what_is_no_whole_gzip_is_told(machine: APIClient, kind: str, body: bytes) -> None:
    response = sent(machine, body, kind)
    assert response.status_code == 400, response.content
    assert response.json()["errors"][0]["code"] == "bad_gzip"


def test_lines_that_unpack_without_end_are_413(machine: APIClient) -> None:
    bomb = gzip.compress(b" " * (2 * RATIO_FROM))
    response = sent(machine, bomb)
    assert (response.status_code, response.json()["errors"][0]["code"]) == (413, "too_compressed")
    assert "smaller parts" in response.json()["detail"]


def test_a_list_that_unpacks_beyond_what_a_body_may_hold_is_413(machine: APIClient) -> None:
    response = sent(machine, gzip.compress(random.Random(1).randbytes(9_000_000)), JSON)
    assert (response.status_code, response.json()["errors"][0]["code"]) == (413, "body_too_large")


@pytest.mark.parametrize("size", [1, 7, 1000, 1 << 20])
def test_what_is_unpacked_is_the_same_however_it_is_read(size: int) -> None:
    said = lines(40)
    stream = Unpacked(io.BytesIO(gzip.compress(said)))
    told = b""
    while piece := stream.read(size):
        assert len(piece) <= size
        told += piece
    assert told == said


def test_the_ratio_is_looked_at_whatever_comes_before_the_bomb() -> None:
    said = gzip.compress(lines(5)) + gzip.compress(bytes(2 * RATIO_FROM))
    with pytest.raises(TooLarge):
        Unpacked(io.BytesIO(said)).read(3 * RATIO_FROM)


def test_a_damaged_checksum_is_told() -> None:
    said = bytearray(gzip.compress(lines(5)))
    said[-6] ^= 1
    with pytest.raises(Malformed):
        Unpacked(io.BytesIO(bytes(said))).read(1 << 20)
