"""Checks as lines of a stream: read batch by batch, stored, and answered line by line."""

import json
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from typing import Any

from django.utils import timezone

from packs.api import check_lines
from packs.api.parsers import parse
from packs.api.shapes import Shape, taken
from packs.errors import DomainError, Fault, TooLarge
from packs.models import VoltageCheck
from packs.rules.identity import encode_all
from packs.rules.voltages import to_units_each
from packs.writes import checks
from packs.writes.actors import Actor

BATCH = 5000  # lines stored in one transaction
BATCH_BYTES = 8 * 1024 * 1024  # of lines after which a batch is stored before it has so many

Read = tuple[int, dict[str, Any] | DomainError]
Batch = list[Read]


@contextmanager
def read_ahead(
    lines: Iterable[tuple[int, bytes | None]], shape: type[Shape], key: str | None
) -> Iterator[Iterator[Batch]]:
    """The lines in batches, each read while the one before it is stored.

    The reading thread comes near no database.
    """
    batches = _batches(iter(lines), shape, key)
    with ThreadPoolExecutor(1, thread_name_prefix="lines") as reader:
        yield _ahead(reader, batches)


def _ahead(reader: ThreadPoolExecutor, batches: Iterator[Batch]) -> Iterator[Batch]:
    coming = reader.submit(next, batches, None)
    while (batch := coming.result()) is not None:
        coming = reader.submit(next, batches, None)
        yield batch


def _batches(
    lines: Iterator[tuple[int, bytes | None]], shape: type[Shape], key: str | None
) -> Iterator[Batch]:
    batch: Batch = []
    size = 0
    for number, raw in lines:
        batch.append((number, _entry_of(raw, shape, key, number)))
        size += len(raw or b"")
        if len(batch) >= BATCH or size >= BATCH_BYTES:
            yield _in_units(batch)
            batch, size = [], 0
    if batch:
        yield _in_units(batch)


def _entry_of(
    raw: bytes | None, shape: type[Shape], key: str | None, number: int
) -> dict[str, Any] | DomainError:
    if raw is None:
        return TooLarge.at("", "line_too_long", "The line is too long for one check; split it.")
    entry = check_lines.read(raw)
    if entry is None:
        try:
            entry = taken(shape, parse(raw))
        except DomainError as error:
            return error
    if key is not None and entry.get("external_id") is None:
        entry["external_id"] = checks.line_id(key, number)
    return entry


def _in_units(batch: Batch) -> Batch:
    """The voltages as they are stored, many at once: a list of numbers takes six times the room."""
    good = [entry for _, entry in batch if not isinstance(entry, DomainError)]
    units = to_units_each([entry["voltages_v"] for entry in good])
    for entry, volts in zip(good, units, strict=True):
        entry["voltages_v"] = volts
    return batch


def answer_lines(batch: Batch, actor: Actor, summary: Counter[str]) -> bytes:
    """Store one batch; the answers to its lines, in order, counted in the summary."""
    good = [entry for _, entry in batch if not isinstance(entry, DomainError)]
    results = checks.take_in(by=actor, at=timezone.now(), entries=good)
    keys = iter(_keys(results))
    stored = iter(results)
    told: list[bytes] = []
    for number, entry in batch:
        result = entry if isinstance(entry, DomainError) else next(stored)
        if isinstance(result, DomainError):
            summary["refused"] += 1
            told.append(_refusal(number, result))
        else:
            summary["stored" if result.created else "repeated"] += 1
            status = 201 if result.created else 200
            told.append(b'{"line": %d, "status": %d, "id": "%b"}\n' % (number, status, next(keys)))
    return b"".join(told)


def _keys(results: Sequence[checks.Told | DomainError]) -> list[bytes]:
    numbers = [one.number for one in results if not isinstance(one, DomainError)]
    return [key.encode() for key in encode_all(VoltageCheck.PREFIX, numbers)]


def _refusal(number: int, error: DomainError) -> bytes:
    faults = [_plain(fault) for fault in error.faults]
    answer = {"line": number, "status": error.status, "errors": faults}
    return json.dumps(answer).encode() + b"\n"


def _plain(fault: Fault) -> dict[str, str]:
    return {"pointer": fault.pointer, "code": fault.code, "detail": fault.detail}
