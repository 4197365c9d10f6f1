"""Lines as testers post them: streams that overlap, some lines named and some not, a few bad."""

import json
import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from tests.faults.names import MODULES, serial

BEGUN = datetime(2024, 6, 1, 9, 0, tzinfo=UTC)
BAD_SHARE = 0.02


@dataclass(frozen=True)
class Said:
    """One line; `mark` is its name in the check's own text, `status` what it is worth alone."""

    mark: str
    raw: bytes
    status: int = 201


@dataclass(frozen=True)
class Stream:
    """Lines that one sender posts at once, within about `lasts_s`."""

    lines: Sequence[Said]
    key: str | None = None
    chunked: bool = True
    lasts_s: float = 0.0


def line(mark: str, pack: int, minute: int, volt: float, **more: Any) -> Said:
    """A good check of one pack under load."""
    said = {
        "pack": serial(pack),
        "taken_at": (BEGUN + timedelta(minutes=minute)).isoformat(),
        "level": "module",
        "condition": "load",
        "current_a": 20.0,
        "temperature_c": 25,
        "voltages_v": [round(volt + place / 100, 4) for place in range(MODULES)],
        "instrument": mark,
        **more,
    }
    return Said(mark, json.dumps(said).encode())


def bad(number: int) -> Said:
    """A line that nobody can store."""
    if number % 2:
        return Said("", b'{"pack": ', 400)
    unknown = line("unknown", 0, number, 7.8).raw.replace(serial(0).encode(), b"NOBODY")
    return Said("", unknown, 422)


def pool(rnd: random.Random, name: str, packs: int, count: int, *, named: bool) -> list[Said]:
    """Good lines of any pack; those that are named bear an external id."""
    made = []
    for number in range(count):
        mark = f"{name}:{number}"
        more = {"external_id": mark} if named else {}
        volt = rnd.uniform(7.7, 7.9)
        made.append(line(mark, rnd.randrange(packs), rnd.randrange(500_000), volt, **more))
    return made


def four(rnd: random.Random, name: str, packs: int, count: int) -> list[Stream]:
    """What four senders post at once: two the same lines from either end, two the same body.

    The body of the latter has lines without a name, known again by key and number.
    """
    shared = pool(rnd, name, packs, count, named=True)
    nameless = pool(rnd, f"{name}:n", packs, count // 4, named=False)
    first = rnd.sample(shared, count * 7 // 10)
    second = [*reversed(rnd.sample(shared, count * 7 // 10))]
    rest = {said.mark for said in first} | {said.mark for said in second}
    twin = [said for said in shared if said.mark not in rest]
    twin += rnd.sample(shared, count // 4) + nameless
    rnd.shuffle(twin)
    bodies = [list(spoilt(rnd, lines)) for lines in (first, second, twin)]
    keys = (None, None, name, name)
    return [
        Stream(lines, key, chunked=rnd.random() < 0.5, lasts_s=rnd.uniform(0, 2))
        for lines, key in zip((*bodies, bodies[-1]), keys, strict=True)
    ]


def spoilt(rnd: random.Random, lines: Sequence[Said]) -> Iterator[Said]:
    """The lines with a few bad ones between."""
    for number, said in enumerate(lines):
        yield said
        if rnd.random() < BAD_SHARE:
            yield bad(number)
