"""The measuring of pack_page, in a process that has a register of its own."""

import json
import time
from collections.abc import Callable

import vl_convert
from django.core.cache import cache
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from reports.pages import charts
from reports.reads import pack_page
from reports.writes import outlooks
from tests.pages import signed_in
from tests.reports.pages.full import full_pack

RUNS, COLD_RUNS, CHECKS, LINES = 40, 5, 100, 40


def least(what: Callable[[], object], runs: int) -> float:
    """Seconds of the processor."""
    taken = []
    for _ in range(runs):
        begun = time.process_time()
        what()
        taken.append(time.process_time() - begun)
    return min(taken)


def measure() -> None:
    call_command("migrate", verbosity=0)
    pack, client = full_pack(CHECKS, LINES), signed_in("desk")
    told = outlooks.present(pack, at=timezone.now())
    address = f"/packs/{pack.serial}/"

    def page() -> None:
        assert client.get(address, SERVER_NAME="localhost").status_code == 200

    def cold() -> None:
        cache.clear()
        page()

    page()
    with CaptureQueriesContext(connection) as captured:
        page()
    asked = [query["sql"] for query in captured]

    def bare() -> None:
        with connection.cursor() as cursor:
            for sql in asked:
                cursor.execute(sql)
                cursor.fetchall()

    trail = pack_page.gather(told.pack, at=timezone.now()).trail
    said = json.dumps(charts.trend_spec(trail, None, now_day=20_000.0, px=charts.WIDE_PX))
    queries, drawing = least(bare, RUNS), least(lambda: vl_convert.vegalite_to_svg(said), COLD_RUNS)
    warm, first = least(page, RUNS), least(cold, COLD_RUNS)
    print(f"{len(asked)} queries, {CHECKS} checks, {LINES} other lines; the page against")
    print(f"  its queries and the drawing of one chart, cached: {warm / (queries + drawing):.1f}")
    print(f"  the same, cold: {first / (queries + drawing):.1f}")
    print(f"  its queries alone, cached: {warm / queries:.0f}")
