"""Rows as PostgreSQL's binary COPY reads them, packed column by column.

Values of one width are laid side by side as blocks of bytes; only what differs in length from row
to row is handed on piece by piece. Format: PostgreSQL's manual, COPY, "Binary Format".
"""

import json
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, date, datetime
from itertools import chain
from typing import Any

import numpy as np
from numpy.typing import NDArray

from packs.rules.voltages import MISSING

Column = Sequence[Any]
Block = NDArray[np.uint8]  # shape (rows, bytes)
Pieces = Sequence[bytes]
Units = NDArray[np.int32]

SIGNATURE = b"PGCOPY\n\xff\r\n\0" + bytes(8)
TRAILER = b"\xff\xff"
NULL = b"\xff\xff\xff\xff"
JSON_VERSION = b"\x01"  # begins every jsonb
INT4 = 23  # object id of the type of an element
EPOCH = datetime(2000, 1, 1, tzinfo=UTC)  # from which PostgreSQL counts microseconds
INSTANT, DAY, UNITS = "timestamp with time zone", "date", "integer[]"
NUMBERS = {
    "bigint": ">i8",
    "integer": ">i4",
    "smallint": ">i2",
    "double precision": ">f8",
    INSTANT: ">i8",
    DAY: ">i4",
    "boolean": "?",
}
TEXTS = frozenset({"text", "varchar"})


def pack_rows(columns: Mapping[str, tuple[str, Column]]) -> tuple[list[str], bytes]:
    """The rows of these columns, each with its type, as one binary COPY, and its order of them."""
    count = len(next(iter(columns.values()))[1])
    blocks: dict[str, Block] = {"": _repeated(len(columns).to_bytes(2, "big"), count)}
    pieces: dict[str, Pieces] = {}
    for name, (kind, column) in columns.items():
        packed = _packed_units(column) if kind == UNITS else _packed(kind, list(column))
        if isinstance(packed, np.ndarray):
            blocks[name] = packed
        else:
            pieces[name] = packed
    order = [name for name in (*blocks, *pieces) if name]
    packed_rows = _slices(np.concatenate(list(blocks.values()), axis=1))
    blocks.clear()
    rows = chain.from_iterable(zip(packed_rows, *pieces.values(), strict=True))
    return order, b"".join((SIGNATURE, *rows, TRAILER))


def _packed(kind: str, column: list[Any]) -> Block | Pieces:
    missing = column.count(None)
    if missing == len(column):
        return _repeated(NULL, missing)
    if not missing:
        return _encoded(kind, column)
    told = _encoded(kind, [value for value in column if value is not None])
    given = iter(_slices(told) if isinstance(told, np.ndarray) else told)
    return [NULL if value is None else next(given) for value in column]


def _encoded(kind: str, values: list[Any]) -> Block | Pieces:
    """Values of which none is null, each with its length before it."""
    if kind in NUMBERS:
        counted = {INSTANT: _microseconds, DAY: _days}.get(kind, list)
        array = np.array(counted(values), dtype=NUMBERS[kind])
        return _lengthened(array.view(np.uint8).reshape(len(values), -1))
    if values.count(values[0]) == len(values):
        alike = _bytes(kind, values[0])
        return _repeated(_length(len(alike)) + alike, len(values))
    return _side_by_side([_bytes(kind, value) for value in values])


def _microseconds(instants: Sequence[datetime]) -> list[int]:
    since = [instant - EPOCH for instant in instants]
    return [
        (one.days * 86_400 + one.seconds) * 1_000_000 + one.microseconds for one in since
    ]  # in whole numbers: a double has not the digits for every microsecond


def _days(dates: Sequence[date]) -> list[int]:
    return [(day - EPOCH.date()).days for day in dates]


def _bytes(kind: str, value: Any) -> bytes:
    if kind == "jsonb":
        return JSON_VERSION + json.dumps(value).encode()
    if kind == "bytea":
        return bytes(value)
    if kind in TEXTS:
        return str(value).encode()
    raise TypeError(f"Nobody told how a column of type {kind} is packed.")


def _side_by_side(values: Sequence[bytes]) -> Block | Pieces:
    heads = {size: _length(size) for size in set(map(len, values))}
    if len(heads) > 1:
        return [heads[len(value)] + value for value in values]
    joined = np.frombuffer(b"".join(values), dtype=np.uint8)
    return _lengthened(joined.reshape(len(values), -1))


def _length(size: int) -> bytes:
    return size.to_bytes(4, "big")


def _lengthened(block: Block) -> Block:
    count, width = block.shape
    return np.concatenate([_repeated(_length(width), count), block], axis=1)


def _repeated(alike: bytes, count: int) -> Block:
    return np.broadcast_to(np.frombuffer(alike, dtype=np.uint8), (count, len(alike)))


def _slices(block: Block) -> Iterator[bytes]:
    """The rows of a block, each as bytes."""
    count, width = block.shape
    whole = block.tobytes()
    return (whole[begin : begin + width] for begin in range(0, count * width, width))


def _packed_units(arrays: Sequence[Units]) -> Block | Pieces:
    """Stored units, each shape (p,), as arrays of integers; MISSING becomes null."""
    places = defaultdict(list)
    for place, units in enumerate(arrays):
        places[units.size].append(place)
    packed = {
        size: _pack_alike(np.stack([arrays[place] for place in alike]))
        for size, alike in places.items()
    }
    if len(packed) == 1:
        return next(iter(packed.values()))
    found: list[bytes] = [b""] * len(arrays)
    for size, block in packed.items():
        told = _slices(block) if isinstance(block, np.ndarray) else block
        for place, one in zip(places[size], told, strict=True):
            found[place] = one
    return found


def _pack_alike(units: Units) -> Block | Pieces:
    """Rows of one length, shape (n, p)."""
    count, positions = units.shape
    elements = np.empty((count, positions, 2), dtype=">i4")
    elements[..., 0], elements[..., 1] = units.itemsize, units
    head = _array_head(positions, nulls=False)
    block = np.concatenate(
        [_repeated(head, count), elements.view(np.uint8).reshape(count, -1)], axis=1
    )
    packed = _lengthened(block)
    gone = units == MISSING
    if not gone.any():
        return packed
    return [
        _with_nulls(row, missing) if missing.any() else whole
        for row, missing, whole in zip(elements, gone, _slices(packed), strict=True)
    ]


def _array_head(positions: int, *, nulls: bool) -> bytes:
    """One dimension, that counts from 1."""
    return np.array([1, int(nulls), INT4, positions, 1], dtype=">i4").tobytes()


def _with_nulls(elements: Any, gone: NDArray[np.bool_]) -> bytes:
    told = [_array_head(gone.size, nulls=True)]
    told += [NULL if no else one.tobytes() for one, no in zip(elements, gone, strict=True)]
    packed = b"".join(told)
    return _length(len(packed)) + packed
