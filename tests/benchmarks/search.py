"""The box against the bare indexed query behind it: `python -m tests.benchmarks.search`.

200,000 packs, cars, customers and modules on a PostgreSQL of its own, 20,000 of each on SQLite.
For a spread of texts, `searching.find` (candidates, their order, and the lines to read) is timed
in turn with the candidate queries alone, one a kind, by cursor. Prints the ratio of the medians,
since seconds belong to a machine; ends with 1 where one is above LIMIT.
"""

import os
import random
import statistics
import string
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from datetime import UTC, datetime
from itertools import product
from typing import Any

import django
from django.core.management import call_command
from django.db import connection

from tests import servers

COUNTS = {"sqlite": 20_000, "postgresql": 200_000}
RUNS = 41  # of each text, the bare query and find in turn
LIMIT = 3.0
COMMAND = "python -m tests.benchmarks.search"
AT = datetime(2026, 1, 5, 9, 0, tzinfo=UTC)
VIN_LETTERS = "ABCDEFGHJKLMNPRSTUVWXYZ0123456789"
BEGINNINGS = ("Ma", "Be", "Ro", "Ki", "La", "So", "Te", "Vi", "Wa", "Hu", "Do", "Fe", "Gri", "Pa")
ENDINGS = ("rin", "lton", "dersen", "vik", "mann", "ska", "ris", "low", "ster", "ney", "dal", "to")


def main() -> int:
    if sys.argv[1:] == ["--here"]:
        return measured()
    codes = []
    with tempfile.TemporaryDirectory() as folder, ExitStack() as stack:
        for url in (f"sqlite:///{folder}/search.sqlite3", None):
            there = url or stack.enter_context(servers.postgresql())
            environment = {**os.environ, "DATABASE_URL": there, "SECRET_KEY": "x" * 50}
            environment["DJANGO_SETTINGS_MODULE"] = "shop.settings"
            command = [sys.executable, "-m", "tests.benchmarks.search", "--here"]
            codes.append(subprocess.run(command, env=environment, check=False).returncode)
    return max(codes)


def measured() -> int:
    """Load the database of this process, time every text and print the table."""
    django.setup()
    call_command("migrate", verbosity=0)
    count = COUNTS[connection.vendor]
    begun = time.perf_counter()
    texts = load(count)
    seconds = time.perf_counter() - begun
    print(
        f"\n{connection.vendor}, {count} packs, cars, customers, modules (loaded in {seconds:.0f} s)"
    )
    print(f"{'sought':24} {'found':>5} {'bare ms':>8} {'find ms':>8} {'ratio':>6}")
    worst = max(row(name, text) for name, text in texts)
    print(f"worst ratio {worst:.1f}, at most {LIMIT:.0f}; again: {COMMAND}", flush=True)
    return 0 if worst <= LIMIT else 1


def row(name: str, text: str) -> float:
    """One line of the table; its ratio is returned."""
    from packs.reads import searching  # noqa: PLC0415  # after django.setup()

    asked = bare(text)
    took: tuple[list[float], list[float]] = ([], [])
    for _ in range(RUNS):
        begun = time.perf_counter()
        for statement, values in asked:
            with connection.cursor() as cursor:
                cursor.execute(statement, values)
                cursor.fetchall()
        between = time.perf_counter()
        hits = searching.find(text, with_customers=True)
        took[0].append(between - begun)
        took[1].append(time.perf_counter() - between)
    plain, whole = (1000 * statistics.median(seconds) for seconds in took)
    print(f"{name:24} {len(hits):5} {plain:8.2f} {whole:8.2f} {whole / plain:6.2f}", flush=True)
    return whole / plain


def bare(text: str) -> list[tuple[str, list[str]]]:
    """The candidate queries alone: for each kind one, and only as deep as had to be asked."""
    from packs.reads import candidates, searching  # noqa: PLC0415  # after django.setup()

    sought = searching.sought(text, with_customers=True)
    hits = searching.find(text, with_customers=True)
    better = [hit for hit in hits if hit.rank != candidates.INSIDE]
    depths = (False,) if len(better) == searching.FOUND_MAX else (False, True)
    queries = []
    for kind in dict.fromkeys(one.kind for one in sought):
        mine = [one for one in sought if one.kind == kind]
        said = [candidates.statement(mine, searching.FOUND_MAX, inside=depth) for depth in depths]
        arms = [one for one in said if one is not None]
        values = [value for one in arms for value in one[1]]
        queries.append((" UNION ALL ".join(one[0] for one in arms), values))
    return queries


def load(count: int) -> list[tuple[str, str]]:
    """Rows of every kind that is searched, each pack in a car; texts to look for are returned."""
    from packs.rules.people import name_key, phone_key  # noqa: PLC0415
    from packs.rules.vehicles import alike_key, search_key  # noqa: PLC0415
    from tests import world  # noqa: PLC0415  # after django.setup()

    kind, client = world.pack_type(), world.actor().client.pk
    draw = random.Random(7)
    serials = [
        f"{draw.choice(('TP', 'NB', 'HY'))}-{n:06}{draw.choice('ABCDEFGH')}" for n in range(count)
    ]
    vins = ["TST" + "".join(draw.choices(VIN_LETTERS, k=8)) + f"{n:06}" for n in range(count)]
    plates = [
        f"{''.join(draw.choices(string.ascii_uppercase, k=2))}-{n:06} {draw.choice('XYZ')}"
        for n in range(count)
    ]
    tags = [f"M{draw.randrange(10)}-{n:06}" for n in range(count)]
    words = [
        f"{head}{middle}{tail}"
        for head, middle, tail in product(BEGINNINGS, ("", "la", "no", "mi"), ENDINGS)
    ]
    names = [f"{draw.choice(words)} {draw.choice(words)}" for _ in range(count)]
    phones = [
        f"+43 {draw.randrange(600, 700)} {draw.randrange(10**6, 10**7)}" for _ in range(count)
    ]
    kept = ["recorded_at", "client_id", "digest", "version"]
    common = (AT, client, b"-", 1)
    numbered = range(1, count + 1)
    insert(
        "packs_customer",
        [*kept, "id", "name", "phone", "email", "name_key", "phone_key"],
        (
            (*common, n, name, phone, "", name_key(name), phone_key(phone))
            for n, name, phone in zip(numbered, names, phones, strict=True)
        ),
    )
    insert(
        "packs_vehicle",
        [*kept, "id", "vin", "plate", "plate_key", "plate_alike", "description", "customer_id"],
        (
            (*common, n, vin, plate, search_key(plate), alike_key(plate), "", n)
            for n, vin, plate in zip(numbered, vins, plates, strict=True)
        ),
    )
    insert(
        "packs_pack",
        [*kept, "id", "serial", "serial_alike", "pack_type_id", "status", "revision", "settled_at"],
        (
            (*common, n, serial, alike_key(serial), kind.pk, "in_service", 1, AT)
            for n, serial in zip(numbered, serials, strict=True)
        ),
    )
    insert(
        "packs_module",
        [*kept, "id", "tag", "tag_alike", "form", "cells", "status"],
        (
            (*common, n, tag, alike_key(tag), "prismatic", 6, "fitted")
            for n, tag in zip(numbered, tags, strict=True)
        ),
    )
    insert(
        "packs_installation",
        [
            "recorded_at",
            "client_id",
            "digest",
            "id",
            "pack_id",
            "revision",
            "vehicle_id",
            "installed_at",
            "void_reason",
        ],
        ((AT, client, b"-", n, n, 1, n, AT, "") for n in numbered),
    )
    insert(
        "packs_placement",
        ["id", "module_id", "pack_id", "position", "orientation", "fitted_at"],
        ((n, n, n, 1, "normal", AT) for n in numbered),
    )
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE" if connection.vendor == "sqlite" else "VACUUM ANALYZE")
    at = count // 3
    surname = names[at].split()[1]
    return [
        ("serial, exact", serials[at]), ("serial, begins so", serials[at][:7]),
        ("serial, most begin so", "NB-0"), ("serial, inside", serials[at][5:]),
        ("VIN, exact", vins[at]), ("VIN, begins so", vins[at][:7]), ("VIN, last six", vins[at][-6:]),
        ("plate, exact", plates[at]), ("plate, begins so", plates[at][:5]),
        ("plate, inside", plates[at][4:]), ("tag, exact", tags[at]), ("tag, inside", tags[at][2:]),
        ("three inside", "7AX"), ("two inside", "6Z"), ("name, begins so", surname[:5]),
        ("name, whole", names[at]), ("name, turned round", " ".join(reversed(names[at].split()))),
        ("name, second word", surname), ("number, whole", phones[at]),
        ("number, part", phones[at][-6:]), ("nothing found", "QQ-77 QQ"), ("no such number", "0009 0008 0007 1"),
    ]  # fmt: skip


def insert(table: str, columns: Sequence[str], rows: Iterator[tuple[Any, ...]]) -> None:
    """All rows of a table, in the fastest way that the database has."""
    listed = ", ".join(columns)
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            with cursor.copy(f"COPY {table} ({listed}) FROM STDIN") as copy:
                for row in rows:
                    copy.write_row(row)
        else:
            cursor.execute("BEGIN")
            marks = ", ".join(["%s"] * len(columns))
            cursor.executemany(f"INSERT INTO {table} ({listed}) VALUES ({marks})", list(rows))
            cursor.execute("COMMIT")


if __name__ == "__main__":
    sys.exit(main())
