"""Senders that post a stream again until it is answered to its end, and note what they heard."""

import json
import random
import time
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from http.client import HTTPConnection, HTTPException
from threading import Thread
from typing import Any

from tests.faults.streams import Said, Stream

CHECKS = "/api/v1/voltage-checks/"
NDJSON = "application/x-ndjson"
PIECE = 100  # lines sent in one go
ANSWER_WITHIN_S = 60.0  # a server that says nothing for so long has been waited for too long
GIVE_UP_AFTER_S = 180.0
PAUSE_S = 0.1  # before a stream is sent again; a tester would wait longer
TAKEN = (200, 201)


@dataclass
class Ledger:
    """What was sent and heard: `ids` and `created` by the mark of the line."""

    sent: int = 0
    posts: int = 0
    statuses: Counter[int] = field(default_factory=Counter)
    broken: Counter[str] = field(default_factory=Counter)
    ids: dict[str, set[str]] = field(default_factory=lambda: defaultdict(set))
    created: Counter[str] = field(default_factory=Counter)
    odd: list[str] = field(default_factory=list)

    def add(self, other: "Ledger") -> None:
        self.sent += other.sent
        self.posts += other.posts
        self.statuses += other.statuses
        self.broken += other.broken
        for mark, ids in other.ids.items():
            self.ids[mark] |= ids
        self.created += other.created
        self.odd += other.odd

    def note(self, said: Said, told: dict[str, Any]) -> None:
        """One answer line; whatever was not to be expected is odd."""
        status = int(told["status"])
        self.statuses[status] += 1
        if status in TAKEN:
            self.ids[said.mark].add(told["id"])
            self.created[said.mark] += status == 201
        if status != said.status and not (status == 200 and said.status == 201):
            self.odd.append(f"{said.mark or said.raw[:40]!r} was answered {told}")


class Sender(Thread):
    """Posts one stream until it is answered with its summary."""

    def __init__(self, port: int, token: str, stream: Stream) -> None:
        super().__init__(daemon=True)
        self.port, self.token, self.stream = port, token, stream
        self.ledger = Ledger()
        self.answered = False

    def run(self) -> None:
        last = time.monotonic() + GIVE_UP_AFTER_S
        while time.monotonic() < last:
            self.ledger.posts += 1
            if self._post():
                self.answered = True
                return
            time.sleep(PAUSE_S * random.uniform(0.5, 1.5))
        self.ledger.odd.append(f"no answer to its end within {GIVE_UP_AFTER_S:g} s")

    def _post(self) -> bool:
        """Post once; whether the summary was heard."""
        connection = HTTPConnection("127.0.0.1", self.port, timeout=ANSWER_WITHIN_S)
        heard = bytearray()
        try:
            self._send(connection)
            response = connection.getresponse()
            if response.status != 200:
                self._refused(response.status, response.read())
                return False
            while piece := response.read1(65536):
                heard += piece
        except TimeoutError:
            self.ledger.odd.append(f"nothing heard for {ANSWER_WITHIN_S:g} s")
        except (OSError, HTTPException) as error:
            self.ledger.broken[type(error).__name__] += 1
        finally:
            connection.close()
        return self._note(bytes(heard))

    def _send(self, connection: HTTPConnection) -> None:
        stream = self.stream
        headers = {"Authorization": f"Bearer {self.token}", "Content-Type": NDJSON}
        if stream.key is not None:
            headers["Idempotency-Key"] = stream.key
        if stream.chunked:
            headers["Transfer-Encoding"] = "chunked"
        else:
            headers["Content-Length"] = str(sum(len(said.raw) + 1 for said in stream.lines))
        connection.request("POST", CHECKS, self._pieces(), headers, encode_chunked=stream.chunked)

    def _pieces(self) -> Iterator[bytes]:
        lines = self.stream.lines
        pause = self.stream.lasts_s * PIECE / max(len(lines), PIECE)
        for begin in range(0, len(lines), PIECE):
            piece = lines[begin : begin + PIECE]
            self.ledger.sent += len(piece)
            yield b"".join(said.raw + b"\n" for said in piece)
            time.sleep(pause)

    def _refused(self, status: int, body: bytes) -> None:
        self.ledger.broken[f"answer {status}"] += 1
        if status != 503:
            self.ledger.odd.append(f"answered {status}: {body[:300]!r}")

    def _note(self, heard: bytes) -> bool:
        """Take down every whole answer line; whether the summary is among them."""
        for raw in heard.split(b"\n")[:-1]:
            told = json.loads(raw)
            if "summary" in told:
                return True
            self.ledger.note(self.stream.lines[told["line"] - 1], told)
        return False
