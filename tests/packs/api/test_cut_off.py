"""A body that breaks off is told as such, and never taken for one that ended."""

import io
from types import SimpleNamespace
from typing import Any

import pytest

from packs.api.parsers import Body, LineParser, StrictJSONParser, lines
from packs.errors import Malformed

LINE = b'{"pack": "TP-0001"}\n'


class Broken(io.BytesIO):
    """A connection that is reset once what came has been read."""

    def read(self, size: int | None = -1) -> bytes:
        piece = super().read(size)
        if not piece:
            raise ConnectionResetError
        return piece


def context(**meta: str) -> Any:
    return {"request": SimpleNamespace(META=meta)}


def test_a_body_shorter_than_its_length_breaks_off() -> None:
    read = lines(Body(io.BytesIO(LINE * 3 + LINE[:9]), len(LINE) * 5))
    assert [next(read)[0] for _ in range(3)] == [1, 2, 3]
    with pytest.raises(Malformed, match="broke off"):
        next(read)


def test_a_connection_that_is_reset_breaks_off() -> None:
    read = LineParser().parse(Broken(LINE * 2), parser_context=context())
    with pytest.raises(Malformed) as refused:
        list(read)
    assert refused.value.faults[0].code == "body_cut_off"


@pytest.mark.parametrize("length", ["", "40"])
def test_a_body_that_came_whole_is_read(length: str) -> None:
    stream = io.BytesIO(LINE * 2)
    told = context(CONTENT_LENGTH=length)
    assert len(list(LineParser().parse(stream, parser_context=told))) == 2


def test_in_chunks_the_length_means_nothing() -> None:
    told = context(CONTENT_LENGTH="4000", HTTP_TRANSFER_ENCODING="chunked")
    assert len(list(LineParser().parse(io.BytesIO(LINE), parser_context=told))) == 1


def test_json_that_breaks_off_is_not_read_as_json() -> None:
    with pytest.raises(Malformed, match="broke off"):
        StrictJSONParser().parse(io.BytesIO(b"7"), parser_context=context(CONTENT_LENGTH="9"))
    with pytest.raises(Malformed, match="broke off"):
        StrictJSONParser().parse(Broken(b"[1, 2"), parser_context=context())
