"""Bodies that come compressed: unpacked as they are read, within limits."""

import zlib
from collections.abc import Mapping
from typing import Any, Protocol

from packs.errors import Malformed, TooLarge

PLAIN = frozenset({"", "identity"})
GZIP = frozenset({"gzip", "x-gzip"})  # RFC 9110, 8.4.1.3
GZIP_WINDOW = 16 + zlib.MAX_WBITS  # tells zlib to expect the header of gzip
CHUNK = 64 * 1024  # bytes read of what is packed, and unpacked at once
RATIO_MAX = 100  # lines of checks shrink to a tenth; common practice, no source
RATIO_FROM = 8 * 1024 * 1024  # bytes unpacked before the ratio is looked at


class Readable(Protocol):
    """What a body is read from."""

    def read(self, size: int, /) -> bytes: ...


def encoding_of(meta: Mapping[str, Any]) -> str:
    """How the body is packed, as the request says it."""
    return str(meta.get("HTTP_CONTENT_ENCODING", "")).strip().lower()


def is_known(encoding: str) -> bool:
    return encoding in PLAIN | GZIP


def unpacked(stream: Readable, meta: Mapping[str, Any]) -> Readable:
    """The body as it was before it was packed."""
    return Unpacked(stream) if encoding_of(meta) in GZIP else stream


class Unpacked:
    """A gzip stream (RFC 1952, members one after another) read as what it holds.

    Raises Malformed for one that is broken, TooLarge for one that grows without end.
    """

    def __init__(self, stream: Readable) -> None:
        self.stream = stream
        self.member = zlib.decompressobj(GZIP_WINDOW)
        self.begun = self.ended = False
        self.packed = self.given = 0
        self.waiting = b""  # packed bytes that were read and not unpacked yet

    def read(self, size: int, /) -> bytes:
        """Up to `size` bytes; none at the end."""
        told = bytearray()
        while len(told) < size and not self.ended:
            told += self._some(min(size - len(told), CHUNK))
        self.given += len(told)
        if self.given > max(RATIO_FROM, RATIO_MAX * self.packed):
            raise TooLarge.at(
                "",
                "too_compressed",
                f"The body unpacks to more than {RATIO_MAX} times its size; send it in smaller "
                "parts, or without Content-Encoding.",
            )
        return bytes(told)

    def _some(self, most: int) -> bytes:
        if not self.waiting:
            self.waiting = bytes(self.stream.read(CHUNK))
            self.packed += len(self.waiting)
        if not self.waiting:
            self._end()
            return b""
        return self._inflated(most)

    def _inflated(self, most: int) -> bytes:
        self.begun = True
        try:
            some = self.member.decompress(self.waiting, most)
        except zlib.error as error:
            raise _broken() from error
        self.waiting = self.member.unconsumed_tail
        if self.member.eof:
            self.waiting = self.member.unused_data
            self.member, self.begun = zlib.decompressobj(GZIP_WINDOW), False
        return some

    def _end(self) -> None:
        """All was read: so it must end with a whole member."""
        if self.begun or not self.packed:
            raise _broken()
        self.ended = True


def _broken() -> Malformed:
    return Malformed.at(
        "",
        "bad_gzip",
        "The body is not whole gzip, or was damaged on the way; send it again. Lines that were "
        "stored before the damage are known again by external_id or Idempotency-Key.",
    )
