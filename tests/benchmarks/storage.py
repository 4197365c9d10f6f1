"""One row a check against one row a voltage, in one run on SQLite: `python -m tests.benchmarks.storage`.

Both layouts carry what their queries need (keys, an index by pack, foreign keys) and hold the same
million voltages, written by executemany in one transaction each, which is the fastest way there is
on SQLite. Prints ratios, since seconds belong to a machine.
"""

import sqlite3
import tempfile
import time
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np

CHECKS, POSITIONS, PACKS = 36_000, 28, 2_000

ROW_A_CHECK = """
CREATE TABLE packs (id INTEGER PRIMARY KEY);
CREATE TABLE checks (id INTEGER PRIMARY KEY, pack_id INTEGER NOT NULL REFERENCES packs,
    taken_at TEXT NOT NULL, voltages BLOB NOT NULL, spread_v REAL NOT NULL);
CREATE INDEX checks_by_pack ON checks (pack_id, taken_at);
"""
ROW_A_VOLTAGE = """
CREATE TABLE packs (id INTEGER PRIMARY KEY);
CREATE TABLE modules (id INTEGER PRIMARY KEY);
CREATE TABLE checks (id INTEGER PRIMARY KEY, pack_id INTEGER NOT NULL REFERENCES packs,
    taken_at TEXT NOT NULL);
CREATE INDEX checks_by_pack ON checks (pack_id, taken_at);
CREATE TABLE voltages (id INTEGER PRIMARY KEY, check_id INTEGER NOT NULL REFERENCES checks,
    module_id INTEGER NOT NULL REFERENCES modules, position INTEGER NOT NULL,
    units INTEGER NOT NULL);
CREATE INDEX voltages_by_check ON voltages (check_id);
CREATE INDEX voltages_by_module ON voltages (module_id);
"""


def opened(folder: Path, name: str, schema: str) -> sqlite3.Connection:
    connection = sqlite3.connect(folder / name)
    connection.executescript("PRAGMA journal_mode=WAL; PRAGMA foreign_keys=ON;" + schema)
    connection.executemany("INSERT INTO packs VALUES (?)", ((n,) for n in range(PACKS)))
    return connection


def filled(connection: sqlite3.Connection, batches: Iterable[tuple[str, Any]]) -> float:
    """Seconds to write everything, durable."""
    begun = time.perf_counter()
    with connection:
        for statement, rows in batches:
            connection.executemany(statement, rows)
    return time.perf_counter() - begun


def read_all(connection: sqlite3.Connection, query: str) -> tuple[float, int]:
    """Seconds to read every voltage into arrays, and their sum."""
    begun = time.perf_counter()
    rows = connection.execute(query).fetchall()
    if isinstance(rows[0][0], bytes):
        total = int(np.frombuffer(b"".join(row[0] for row in rows), "<i4").sum())
    else:
        total = int(np.fromiter((row[0] for row in rows), np.int64, len(rows)).sum())
    return time.perf_counter() - begun, total


def size(connection: sqlite3.Connection) -> int:
    pages = connection.execute("PRAGMA page_count").fetchone()[0]
    return int(pages * connection.execute("PRAGMA page_size").fetchone()[0])


def main() -> None:
    units = np.random.default_rng(1).integers(60_000, 90_000, (CHECKS, POSITIONS), dtype=np.int32)
    blobs = [row.astype("<i4").tobytes() for row in units]
    plain = units.tolist()
    heads = [(n, n % PACKS, f"2026-01-01 00:{n % 60:02d}:00") for n in range(CHECKS)]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        wide = opened(folder, "wide.sqlite3", ROW_A_CHECK)
        slim = opened(folder, "slim.sqlite3", ROW_A_VOLTAGE)
        slim.executemany("INSERT INTO modules VALUES (?)", ((n,) for n in range(PACKS * POSITIONS)))
        rows = ((*head, blob, 0.3) for head, blob in zip(heads, blobs, strict=True))
        wrote_wide = filled(wide, [("INSERT INTO checks VALUES (?, ?, ?, ?, ?)", rows)])
        readings = (
            (n, n % PACKS * POSITIONS + position, position + 1, unit)
            for n, voltages in enumerate(plain)
            for position, unit in enumerate(voltages)
        )
        voltage = "INSERT INTO voltages (check_id, module_id, position, units) VALUES (?, ?, ?, ?)"
        wrote_slim = filled(
            slim, [("INSERT INTO checks VALUES (?, ?, ?)", heads), (voltage, readings)]
        )
        read_wide, sum_wide = read_all(wide, "SELECT voltages FROM checks ORDER BY id")
        read_slim, sum_slim = read_all(slim, "SELECT units FROM voltages ORDER BY id")
        assert sum_wide == sum_slim
        print(f"{CHECKS * POSITIONS} voltages; one row a voltage against one row a check:")
        print(f"  write {wrote_slim / wrote_wide:.1f} times the time")
        print(f"  read  {read_slim / read_wide:.1f} times the time")
        print(f"  size  {size(slim) / size(wide):.1f} times the bytes")


if __name__ == "__main__":
    main()
