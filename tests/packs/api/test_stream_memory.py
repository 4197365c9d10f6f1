"""A stream is taken in within bounded memory, however long it is."""

import io
import json
import tracemalloc
from collections.abc import Iterator
from typing import Any

import pytest
from django.test import RequestFactory

from packs.api.voltage_checks import VoltageChecks
from tests import world

FEW, MANY = 10_000, 30_000
SLACK = 1.15  # of the peak: where two batches meet differs from run to run


class Endless(io.RawIOBase):
    """A body that is made as it is read, so that only the taking in holds any of it."""

    def __init__(self, pieces: Iterator[bytes]) -> None:
        self._pieces = pieces
        self._rest = b""

    def read(self, size: int = -1) -> bytes:
        while len(self._rest) < size and (piece := next(self._pieces, b"")):
            self._rest += piece
        given, self._rest = self._rest[:size], self._rest[size:]
        return given


def pieces(name: str, count: int) -> Iterator[bytes]:
    said = json.dumps(world.check_body("TP-0001", external_id=name)).encode()[:-2]
    return (b'%b-%06d"}\n' % (said, number) for number in range(count))


def peak(token: str, name: str, count: int) -> int:
    """Bytes that taking in so many lines held at once."""
    length = count * len(next(pieces(name, 1)))
    more: dict[str, Any] = {"wsgi.input": Endless(pieces(name, count))}
    more["CONTENT_TYPE"] = "application/x-ndjson"
    request = RequestFactory().generic(
        "POST", "/api/v1/voltage-checks/",
        HTTP_AUTHORIZATION=f"Bearer {token}", CONTENT_LENGTH=str(length), **more,
    )  # fmt: skip
    tracemalloc.start()
    try:
        response: Any = VoltageChecks.as_view()(request)
        held = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    told = b"".join(response.streaming_content).splitlines()[-1]
    response.file_to_stream.close()
    assert json.loads(told)["summary"]["stored"] == count
    return held


@pytest.mark.django_db
def test_a_longer_stream_takes_no_more_memory() -> None:
    world.pack()
    token = world.token("machine")
    peak(token, "w", 100)
    few = peak(token, "a", FEW)
    assert peak(token, "b", MANY) < few * SLACK
