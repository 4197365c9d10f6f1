"""A sender that reads nothing until it has sent all, and one that breaks off in the middle."""

import json
import socket
import struct
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from http.client import HTTPException, HTTPResponse
from itertools import islice, product
from pathlib import Path

from tests.faults.senders import CHECKS, NDJSON
from tests.faults.streams import bad, line

PIECE = 500  # lines given to the socket at once
WITHIN_S = 120.0  # that one call of the socket may take
SMALL = 4096  # bytes asked for as the buffer of a sender that does not read
SEND_BUFFER, RECEIVE_BUFFER = 4 * 1024**2, 6 * 1024**2  # bytes, Linux's own defaults at most
ANSWER = 500  # bytes that the answer to a line without any field has at least
REFUSED_EVERY = 50
BATCH = 5_000  # lines that are stored together: the API's promise
CUT = b'{"pack": "TP-0'  # as far as the last line came
CLOSE_HARD = struct.pack("ii", 1, 0)  # SO_LINGER: on, for no time, so that it is a reset


@dataclass
class Heard:
    """What came back: bytes in all, answers by status, and the summary where there was one."""

    size: int = 0
    statuses: Counter[int] = field(default_factory=Counter)
    summary: dict[str, int] | None = None
    status: int | None = None
    seconds: float = 0.0


def body(count: int, *, name: str, packs: int) -> Iterator[bytes]:
    """So many lines, a few of them bad."""
    for number in range(count):
        if number % REFUSED_EVERY == 1:
            yield bad(number // REFUSED_EVERY).raw + b"\n"
        else:
            mark = f"{name}:{number}"
            yield line(mark, number % packs, number, 7.8, external_id=mark).raw + b"\n"


def shapeless() -> Iterator[bytes]:
    """Lines without a field: more of them than buffers hold of bodies, and of their answers."""
    send, receive = buffer("tcp_wmem", SEND_BUFFER), buffer("tcp_rmem", RECEIVE_BUFFER)
    count = send // ANSWER + 1
    padding = b" " * ((send + receive) // count + 1)
    return (b"{}%s\n" % padding for _ in range(count))


def buffer(name: str, otherwise: int) -> int:
    """The most bytes that a socket of this machine holds, one way."""
    told = Path("/proc/sys/net/ipv4") / name
    return int(told.read_text().split()[-1]) if told.exists() else otherwise


def size(lines: Iterator[bytes]) -> int:
    return sum(map(len, lines))


class Deaf:
    """A connection of its own, which sends all before it reads."""

    def __init__(self, port: int, token: str) -> None:
        self.port = port
        self.token = token

    def post(self, lines: Iterator[bytes], length: int | None) -> Heard:
        """All of them with that Content-Length, or in chunks; then what was answered."""
        begun = time.monotonic()
        with self._connected() as wire:
            wire.sendall(self._head(length))
            send(wire, lines, chunked=length is None)
            if length is None:
                wire.sendall(b"0\r\n\r\n")
            heard = listen(wire)
        heard.seconds = time.monotonic() - begun
        return heard

    def break_off(self, lines: Iterator[bytes], length: int | None, *, hard: bool) -> Heard:
        """Send these lines and the beginning of another, then no more; hard resets the connection.

        Who only stops sending may still hear something.
        """
        with self._connected() as wire:
            wire.sendall(self._head(length))
            send(wire, lines, chunked=length is None)
            send(wire, iter([CUT]), chunked=length is None)
            if hard:
                wire.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, CLOSE_HARD)
                return Heard()
            wire.shutdown(socket.SHUT_WR)
            return listen(wire)

    def _connected(self) -> socket.socket:
        wire = socket.socket()
        wire.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, SMALL)
        wire.settimeout(WITHIN_S)
        wire.connect(("127.0.0.1", self.port))
        return wire

    def _head(self, length: int | None) -> bytes:
        said = "Transfer-Encoding: chunked" if length is None else f"Content-Length: {length}"
        return (
            f"POST {CHECKS} HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n"
            f"Authorization: Bearer {self.token}\r\nContent-Type: {NDJSON}\r\n{said}\r\n\r\n"
        ).encode()


def send(wire: socket.socket, lines: Iterator[bytes], *, chunked: bool) -> None:
    while piece := b"".join(islice(lines, PIECE)):
        wire.sendall(b"%x\r\n%s\r\n" % (len(piece), piece) if chunked else piece)


def listen(wire: socket.socket) -> Heard:
    """Read the answer to its end, or to where the connection breaks."""
    heard, rest = Heard(), b""
    try:
        with HTTPResponse(wire, method="POST") as response:
            response.begin()
            heard.status = response.status
            while piece := response.read1(65536):
                heard.size += len(piece)
                *whole, rest = (rest + piece).split(b"\n")
                for raw in whole:
                    note(heard, raw)
    except (ConnectionError, HTTPException):
        pass
    return heard


def note(heard: Heard, raw: bytes) -> None:
    told = json.loads(raw)
    if "summary" in told:
        heard.summary = told["summary"]
    elif "line" in told:
        heard.statuses[told["status"]] += 1


def post_all(deaf: Deaf, count: int, *, name: str, packs: int, chunked: bool) -> list[str]:
    """Send so many lines before anything is read; what does not hold of the answers."""
    lines = [*body(count, name=name, packs=packs)]
    heard = deaf.post(iter(lines), None if chunked else size(iter(lines)))
    refused = sum(number % REFUSED_EVERY == 1 for number in range(count))
    wanted = {"stored": count - refused, "repeated": 0, "refused": refused}
    print(
        f"{count} lines of {size(iter(lines))} bytes: {heard.size} bytes heard after all was sent"
    )
    if heard.summary != wanted or heard.statuses.total() != count:
        return [f"{name}: {heard} where {wanted} was due"]
    return []


def break_and_repeat(deaf: Deaf, count: int, *, name: str, packs: int) -> list[str]:
    """Break off after three fifths in each way, and send the whole then."""
    found = []
    for way, (chunked, hard) in enumerate(product((True, False), repeat=2)):
        lines = [*body(count, name=f"{name}.{way}", packs=packs)]
        length = None if chunked else size(iter(lines))
        heard = deaf.break_off(iter(lines[: count * 3 // 5]), length, hard=hard)
        again = deaf.post(iter(lines), length).summary
        found += [f"{name}.{way}: {one}" for one in amiss(heard, again, lines)]
    return found


def amiss(heard: Heard, again: dict[str, int] | None, lines: list[bytes]) -> Iterator[str]:
    """What does not hold of a stream that broke off, and was sent again."""
    if heard.summary is not None:
        yield f"a summary of what broke off: {heard.summary}"
    good = [number % REFUSED_EVERY != 1 for number in range(len(lines))]
    whole = [sum(good[:end]) for end in range(0, len(lines) * 3 // 5 + 1, BATCH)]
    if again is None or again["repeated"] not in whole:
        yield f"not whole batches were stored: {again}"
    elif again["stored"] + again["repeated"] != sum(good):
        yield f"not each line once: {again}"
