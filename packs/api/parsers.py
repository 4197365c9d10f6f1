"""Reading JSON strictly: finite numbers, bounded depth, text that every database can hold."""

import json
import math
from collections.abc import Iterable, Iterator, Mapping
from typing import IO, Any

from rest_framework.parsers import BaseParser

from packs.api.encodings import Readable, unpacked
from packs.errors import Malformed, TooLarge, pointer_token

BODY_LIMIT = 8 * 1024 * 1024  # bytes of one JSON body: a list of 5,000 checks of 96 positions
LINE_LIMIT = 256 * 1024  # bytes of one line of a stream; a check of 400 cells takes 4 kB
CHUNK = 64 * 1024
DEPTH_MAX = 32  # lists and objects within one another; nothing here needs five
DIGITS_MAX = 60  # of a whole number; a double has no more than 17 that count
JSON_TYPE = "application/json"
NDJSON_TYPE = "application/x-ndjson"


def parse(raw: bytes) -> Any:
    """The value of one JSON text in UTF-8; Malformed, with the reason, for anything else."""
    odd: list[float] = []

    def number(text: str) -> float:
        value = float(text)
        if not math.isfinite(value):
            odd.append(value)
        return value

    try:
        value = json.loads(
            raw.decode("utf-8"), parse_constant=number, parse_float=number, parse_int=_bounded
        )
    except UnicodeDecodeError as error:
        raise Malformed.at("", "not_utf8", "The body is not UTF-8; send UTF-8.") from error
    except RecursionError as error:
        raise too_deep() from error
    except ValueError as error:
        raise Malformed.at("", "not_json", f"This is not valid JSON: {error}.") from error
    if raw.count(b"[") + raw.count(b"{") > DEPTH_MAX:
        _refuse_depth(value)
    if odd or b"\\u" in raw:
        _refuse_odd(value)
    return value


def _bounded(text: str) -> int:
    if len(text) > DIGITS_MAX:
        raise ValueError(f"{text[:DIGITS_MAX]}... is beyond what a number here can hold")
    return int(text)


def _refuse_depth(value: Any) -> None:
    level = [value]
    for _ in range(DEPTH_MAX):
        level = [child for item in level for child in _children(item)]
        if not level:
            return
    raise too_deep()


def _children(item: Any) -> Iterable[Any]:
    inner = item.values() if isinstance(item, dict) else item
    return (child for child in inner if isinstance(child, dict | list))


def too_deep() -> Malformed:
    return Malformed.at(
        "", "too_deep", f"The JSON is nested more than {DEPTH_MAX} deep; send it flatter."
    )


def _refuse_odd(value: Any) -> None:
    """Point at what Python reads and no JSON or database holds: NaN, infinity, NUL, half a pair."""
    places = [("", value)]
    while places:
        pointer, item = places.pop()
        if isinstance(item, dict):
            places += [(f"{pointer}/{pointer_token(name)}", inner) for name, inner in item.items()]
            places += [(pointer, name) for name in item]  # looked at first: a name is in a pointer
        elif isinstance(item, list):
            places += [(f"{pointer}/{place}", inner) for place, inner in enumerate(item)]
        elif isinstance(item, float) and not math.isfinite(item):
            told = "Not a finite JSON number; send one that is, or null."
            raise Malformed.at(pointer, "not_a_number", told)
        elif isinstance(item, str) and ("\x00" in item or not _encodes(item)):
            told = "A text holds a NUL or half a character; remove it."
            raise Malformed.at(pointer, "bad_text", told)


def _encodes(text: str) -> bool:
    try:
        text.encode()
    except UnicodeEncodeError:
        return False
    return True


class StrictJSONParser(BaseParser):
    """One JSON body."""

    media_type = JSON_TYPE

    def parse(self, stream: IO[Any], media_type: Any = None, parser_context: Any = None) -> Any:
        body, raw = body_of(stream, parser_context), bytearray()
        while chunk := body.read(CHUNK):
            raw += chunk
            if len(raw) > BODY_LIMIT:
                raise too_large()
        return parse(bytes(raw))


def too_large() -> TooLarge:
    return TooLarge.at(
        "",
        "body_too_large",
        f"The body is larger than {BODY_LIMIT} bytes; send fewer at a time, or stream NDJSON.",
    )


class LineParser(BaseParser):
    """A stream of lines, read as they are asked for."""

    media_type = NDJSON_TYPE

    def parse(self, stream: IO[Any], media_type: Any = None, parser_context: Any = None) -> Any:
        return lines(body_of(stream, parser_context))


class Body:
    """A body as it comes; Malformed where it breaks off, and not its end."""

    def __init__(self, stream: IO[Any], length: int | None) -> None:
        self._stream = stream
        self._left = length

    def read(self, size: int = -1, /) -> bytes:
        try:
            piece = bytes(self._stream.read(size))
        except OSError as error:
            raise cut_off() from error
        if self._left is not None:
            self._left -= len(piece)
            if not piece and self._left > 0:
                raise cut_off()
        return piece


def body_of(stream: IO[Any], context: Mapping[str, Any] | None) -> Readable:
    """The body of the request that a parser is given, unpacked, whole where a length was said."""
    meta = context["request"].META if context else {}
    said = "" if is_chunked(meta) else str(meta.get("CONTENT_LENGTH") or "")
    return unpacked(Body(stream, int(said) if said.isdecimal() else None), meta)


def cut_off() -> Malformed:
    return Malformed.at(
        "", "body_cut_off", "The body broke off before its end; send the same again."
    )


def is_chunked(meta: Mapping[str, Any]) -> bool:
    """Whether the body comes in chunks, without a length."""
    return "chunked" in meta.get("HTTP_TRANSFER_ENCODING", "").lower()


def ends_itself(meta: Mapping[str, Any]) -> bool:
    """Whether the server's own stream ends where the body does."""
    return bool(meta.get("wsgi.input_terminated"))


def lines(stream: Readable) -> Iterator[tuple[int, bytes | None]]:
    """Numbered lines that are not blank, from 1; None for one over LINE_LIMIT.

    Never holds more than a line and a chunk.
    """
    number, kept, over = 1, bytearray(), False
    while chunk := stream.read(CHUNK):
        *ended, rest = bytes(chunk).split(b"\n")
        for piece in ended:
            kept += piece
            yield from _line(number, kept, over)
            number, kept, over = number + 1, bytearray(), False
        kept += rest
        if len(kept) > LINE_LIMIT:
            kept, over = bytearray(), True
    yield from _line(number, kept, over)


def _line(number: int, kept: bytearray, over: bool) -> Iterator[tuple[int, bytes | None]]:
    if over or len(kept) > LINE_LIMIT:
        yield number, None
    elif kept.strip():
        yield number, bytes(kept)
