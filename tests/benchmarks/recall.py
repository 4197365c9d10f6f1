"""A recall against one bare query of the same rows: `python -m tests.benchmarks.recall`.

10,000 packs, each in a car with an owner; 200,000 placements, 20 a pack, half of them over; one lot
with a module in every pack. On a PostgreSQL of its own and on SQLite. `genealogy.carriers` (which
pack carries or carried what from when until when, in which car, whom to call) is timed in turn with
one bare query that joins the same tables, fetched by cursor; a page of 50 packs, as the API answers
it, with the same query cut to those. Prints the ratio of the medians and the number of queries,
since seconds belong to a machine; ends with 1 where a number of queries is another than QUERIES.
"""

import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import ExitStack
from datetime import UTC, datetime, timedelta
from typing import Any

import django
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests import servers
from tests.benchmarks.search import insert

PACKS, EACH = 10_000, 20
RUNS, PAGE = 11, 50
QUERIES = {"all": 2, "page": 3}
COMMAND = "python -m tests.benchmarks.recall"
AT = datetime(2026, 1, 5, 9, 0, tzinfo=UTC)
BARE = """
    SELECT p.serial, m.tag, s.position, s.fitted_at, s.removed_at, v.vin, v.plate, c.id, c.name,
        c.phone
    FROM packs_placement s JOIN packs_module m ON m.id = s.module_id
    JOIN packs_pack p ON p.id = s.pack_id
    LEFT JOIN packs_installation i
        ON i.pack_id = p.id AND i.voided_at IS NULL AND i.removed_at IS NULL
    LEFT JOIN packs_vehicle v ON v.id = i.vehicle_id
    LEFT JOIN packs_customer c ON c.id = v.customer_id
    WHERE m.lot_id = %s {more} ORDER BY p.serial, s.position
"""


FIRST = f"""
    AND p.id IN (
        SELECT id FROM packs_pack WHERE id IN (
            SELECT s.pack_id FROM packs_placement s JOIN packs_module m ON m.id = s.module_id
            WHERE m.lot_id = %s
        ) ORDER BY serial, id LIMIT {PAGE}
    )
"""


def main() -> int:
    if sys.argv[1:] == ["--here"]:
        return measured()
    codes = []
    with tempfile.TemporaryDirectory() as folder, ExitStack() as stack:
        for url in (f"sqlite:///{folder}/recall.sqlite3", None):
            there = url or stack.enter_context(servers.postgresql())
            environment = {**os.environ, "DATABASE_URL": there, "SECRET_KEY": "x" * 50}
            environment["DJANGO_SETTINGS_MODULE"] = "shop.settings"
            command = [sys.executable, "-m", "tests.benchmarks.recall", "--here"]
            codes.append(subprocess.run(command, env=environment, check=False).returncode)
    return max(codes)


def measured() -> int:
    """Load the database of this process, time both and print the table."""
    django.setup()
    call_command("migrate", verbosity=0)
    lot = load()
    print(f"\n{connection.vendor}: {PACKS} packs, {PACKS * EACH} placements")
    print(f"{'recall':6} {'packs':>6} {'queries':>7} {'bare ms':>8} {'ms':>8} {'ratio':>6}")
    return max(whole(lot), page(lot))


def whole(lot: int) -> int:
    """Every pack of the lot at once."""
    from packs.models import Lot  # noqa: PLC0415  # after django.setup()
    from packs.reads import genealogy  # noqa: PLC0415

    origin = genealogy.of_lot(Lot.objects.get(pk=lot))
    return row("all", lambda: genealogy.carriers(origin), lambda: bare(lot, ""))


def page(lot: int) -> int:
    """The first page by serial."""
    from packs.models import Lot  # noqa: PLC0415  # after django.setup()
    from packs.reads import genealogy  # noqa: PLC0415

    origin = genealogy.of_lot(Lot.objects.get(pk=lot))

    def asked() -> list[Any]:
        packs = genealogy.packs(origin).order_by("serial", "pk")[:PAGE]
        return genealogy.carriers(origin, [pack.pk for pack in packs])

    return row("page", asked, lambda: bare(lot, FIRST))


def bare(lot: int, more: str) -> list[Any]:
    with connection.cursor() as cursor:
        statement = BARE.format(more=more)
        cursor.execute(statement, [lot] * statement.count("%s"))
        return list(cursor.fetchall())


def row(name: str, recall: Callable[[], list[Any]], plain: Callable[[], list[Any]]) -> int:
    """One line of the table; 1 where the number of queries is not the one that is promised."""
    with CaptureQueriesContext(connection) as run:
        found = recall()
    took: tuple[list[float], list[float]] = ([], [])
    for _ in range(RUNS):
        begun = time.perf_counter()
        rows = plain()
        between = time.perf_counter()
        recall()
        took[0].append(between - begun)
        took[1].append(time.perf_counter() - between)
    stays = sum(len(one.stays) for one in found)
    assert stays == len(rows), (stays, len(rows))
    low, high = (1000 * statistics.median(seconds) for seconds in took)
    line = f"{name:6} {len(found):6} {len(run):7} {low:8.2f} {high:8.2f} {high / low:6.2f}"
    print(line, flush=True)
    return 0 if len(run) == QUERIES[name] else 1


def load() -> int:
    """The shop; the number of its lot that went everywhere."""
    from packs.rules.vehicles import alike_key  # noqa: PLC0415  # after django.setup()
    from packs.writes import modules  # noqa: PLC0415
    from tests import world  # noqa: PLC0415

    kind, who = world.pack_type(), world.actor()
    client = who.client.pk
    lots = [
        modules.create_lot(by=who, at=AT, entry={"code": f"L-{n}", "unit_cost": 30}).row.pk
        for n in range(EACH)
    ]
    kept = ["recorded_at", "client_id", "digest", "version"]
    common = (AT, client, b"-", 1)
    numbered = range(1, PACKS + 1)
    insert(
        "packs_customer",
        [*kept, "id", "name", "phone", "email", "name_key", "phone_key"],
        ((*common, n, f"Owner {n}", f"0660 {n}", "", f"owner {n}", f"0660{n}") for n in numbered),
    )
    insert(
        "packs_vehicle",
        [*kept, "id", "vin", "plate", "plate_key", "plate_alike", "description", "customer_id"],
        ((*common, n, f"TST{n:014}", f"W-{n}", f"W{n}", f"W{n}", "", n) for n in numbered),
    )
    insert(
        "packs_pack",
        [*kept, "id", "serial", "serial_alike", "pack_type_id", "status", "revision", "settled_at"],
        (
            (*common, n, f"P-{n:06}", alike_key(f"P-{n:06}"), kind.pk, "in_service", 1, AT)
            for n in numbered
        ),
    )
    sat = ["id", "pack_id", "revision", "vehicle_id", "installed_at", "void_reason"]
    insert(
        "packs_installation",
        ["recorded_at", "client_id", "digest", *sat],
        ((AT, client, b"-", n, n, 1, n, AT, "") for n in numbered),
    )
    insert(
        "packs_module",
        [*kept, "id", "tag", "tag_alike", "form", "cells", "status", "status_reason",
         "generation", "shelf", "lot_id"],
        (
            (*common, number, f"M-{number}", f"M{number}", "prismatic", 6, "fitted", "", "", "",
             lots[number % EACH])
            for number in range(PACKS * EACH)
        ),
    )  # fmt: skip
    insert(
        "packs_placement",
        ["id", "module_id", "pack_id", "position", "orientation", "fitted_at", "removed_at"],
        (
            (number + 1, number, number // EACH + 1, number % EACH + 1, "normal", AT,
             AT + timedelta(days=9) if number // EACH % 2 else None)
            for number in range(PACKS * EACH)
        ),
    )  # fmt: skip
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE" if connection.vendor == "sqlite" else "VACUUM ANALYZE")
    return int(lots[7])


if __name__ == "__main__":
    sys.exit(main())
