"""The measuring of fleet work, in a process that has a register of its own."""

import json
import os
import time
from collections.abc import Callable
from contextlib import ExitStack
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import vl_convert
from django.core.management import call_command
from django.db import connection
from django.utils import timezone

from reports import tasks
from reports.models import FleetWork
from reports.trends import fleet, statistics
from reports.trends.fits import Fit
from reports.trends.histories import Histories
from reports.trends.outlook import judge_all
from reports.trends.statistics import Statistics
from reports.writes import fleet_work
from tests import servers
from tests.benchmarks import fleet_rivals, fleet_shop

Cost = tuple[float, float, float]  # seconds by the clock, of this process, of its server process
SHARD = 1_000
CLOCK_TICKS = os.sysconf("SC_CLK_TCK")


def cost(work: Callable[[], Any]) -> Cost:
    clock, own, server = time.perf_counter(), time.process_time(), of_server()
    work()
    spent = time.perf_counter() - clock, time.process_time() - own
    return *spent, of_server() - server


def of_server() -> float:
    """Seconds of the processor that the server process of this connection has taken."""
    if connection.connection is None:
        return 0.0
    stat = Path(f"/proc/{connection.connection.info.backend_pid}/stat").read_text()
    return sum(map(int, stat.rpartition(") ")[2].split()[11:13])) / CLOCK_TICKS


def measure(chosen: dict[str, Any]) -> None:
    curves: dict[str, dict[int, Cost]] = {}
    if chosen["arrays"]:
        curves |= arrays(chosen["arrays"])
    if chosen["packs"]:
        call_command("migrate", verbosity=0)
        curves |= database(chosen["packs"])
    for name, curve in curves.items():
        if len(curve) > 1:
            told = " by the clock, ".join(f"{exponent(curve, place):.2f}" for place in (0, 1))
            print(f"exponent of {name}: {told} of the process")
    if chosen["plot"]:
        Path(chosen["plot"]).write_text(drawn(curves), encoding="utf-8")
    if chosen["workers"]:
        workers(chosen["packs"][-1])


def exponent(curve: dict[int, Cost], place: int) -> float:
    sizes = np.log(np.array(list(curve)))
    seconds = np.log(np.array([told[place] for told in curve.values()]))
    return float(np.polyfit(sizes, seconds, 1)[0])


def arrays(sizes: list[int]) -> dict[str, dict[int, Cost]]:
    """Fit and outlooks of made-up packs that are never stored."""
    curve: dict[int, Cost] = {}
    for size in sizes:
        spent = np.zeros(6)
        parts: list[Statistics] = []
        for first in range(0, size, SHARD):
            packs = fleet_shop.in_arrays(first, min(SHARD, size - first))
            spent[:3] += cost(partial(gather, packs, parts))
        made: list[Fit] = []
        fit = cost(partial(fitted, parts, made))
        parts.clear()
        for first in range(0, size, SHARD):
            packs = fleet_shop.in_arrays(first, min(SHARD, size - first))
            spent[3:] += cost(partial(judge_all, packs, made[0], as_of_day=packs.contact_day))
        whole = spent[:3] + fit + spent[3:]
        curve[size] = float(whole[0]), float(whole[1]), 0.0
        print(
            f"{size:>9} packs in arrays: gathered {spent[1]:.2f} s, fitted {fit[1]:.2f} s, "
            f"outlooks {spent[4]:.2f} s of the process; {whole[0]:.1f} s by the clock",
            flush=True,
        )
    return {"arrays": curve}


def gather(packs: Histories, parts: list[Statistics]) -> None:
    parts.append(fleet.gather(packs))


def fitted(parts: list[Statistics], made: list[Fit]) -> None:
    made.append(fleet.estimate(statistics.merge(parts), through_day=20_000.0))


def finish(work: FleetWork) -> None:
    while fleet_work.advance(at=timezone.now(), work=work):
        pass


def refresh() -> None:
    finish(fleet_work.ask_refresh(at=timezone.now()))


def refit() -> None:
    finish(fleet_work.ask_fit(at=timezone.now()))


def database(sizes: list[int]) -> dict[str, dict[int, Cost]]:
    whole: dict[int, Cost] = {}
    for size in sizes:
        fleet_shop.grow(size)
        with connection.cursor() as cursor:
            cursor.execute("VACUUM ANALYZE")
        fleet_rivals.empty("reports_packstatistics", "reports_outlook")
        first, again = cost(refit), cost(refit)
        fresh = cost(refresh)
        rows = fleet_rivals.outlook_rows()
        bare = [rival(size, rows)]
        anew = cost(refresh)
        bare.append(rival(size, fleet_rivals.outlook_rows()))
        whole[size] = first[0] + fresh[0], first[1] + fresh[1], first[2] + fresh[2]
        print(
            f"{size:>9} packs on PostgreSQL: fit {first[0]:.1f} s ({first[1]:.1f} of the process), "
            f"again {again[0]:.1f} s ({again[1]:.1f}); outlooks {fresh[0]:.1f} s ({fresh[1]:.1f}), "
            f"with those before to be ended {anew[0]:.1f} s ({anew[1]:.1f})"
        )
        pairs = list(zip((fresh, anew), bare, strict=True))
        clock = " and ".join(f"{ours[0] / theirs[0]:.2f}" for ours, theirs in pairs)
        taken = " and ".join(f"{sum(ours[1:]) / sum(theirs[1:]):.2f}" for ours, theirs in pairs)
        print(
            f"          against the bare read and COPY: {clock} times by the clock, {taken} times "
            "the processors' time of process and server",
            flush=True,
        )
    return {"with PostgreSQL": whole}


def rival(size: int, rows: bytes) -> Cost:
    fleet_rivals.empty("reports_outlook")
    read, written = cost(lambda: fleet_rivals.read(size)), cost(lambda: fleet_rivals.write(rows))
    print(f"          the bare read {read[0]:.1f} s, the bare COPY {written[0]:.1f} s")
    return read[0] + written[0], read[1] + written[1], read[2] + written[2]


def workers(size: int) -> None:
    """All outlooks by one Celery worker, then by two, and the processors' time that it took."""
    found = {}
    for count in (1, 2, 1, 2):
        with ExitStack() as stack:
            for _ in range(count):
                given = os.environ["DATABASE_URL"], os.environ["REDIS_URL"]
                stack.enter_context(servers.worker(*given))
            server, own = processors("postgres"), processors("celery")
            begun = time.perf_counter()
            tasks.refresh_outlooks()
            while FleetWork.objects.filter(finished_at__isnull=True).exists():
                time.sleep(0.05)
            clock = time.perf_counter() - begun
            told = clock, processors("postgres") - server, processors("celery") - own
        found[count] = told
        print(
            f"{size} outlooks, {count} worker{'s' * (count > 1)}: {told[0]:.1f} s; processors: "
            f"{told[1]:.1f} s of PostgreSQL, {told[2]:.1f} s of workers",
            flush=True,
        )
    print(f"two workers against one: {found[1][0] / found[2][0]:.2f} times")


def processors(name: str) -> float:
    """Seconds of processors' time of all that runs below this process's own parent by that name."""
    seconds = 0.0
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            line, command = stat.read_text(), stat.with_name("cmdline").read_bytes()
        except OSError:
            continue
        if name.encode() in command and b"bench" not in command:
            seconds += sum(map(int, line.rpartition(") ")[2].split()[11:15])) / CLOCK_TICKS
    return seconds


def drawn(curves: dict[str, dict[int, Cost]]) -> str:
    """Seconds of the process against packs, both logarithmic, as SVG."""
    rows = [
        {"packs": size, "seconds": told[1], "what": name}
        for name, curve in curves.items()
        for size, told in curve.items()
    ]
    axes = {
        "x": {"field": "packs", "type": "quantitative", "scale": {"type": "log"}, "title": "packs"},
        "y": {
            "field": "seconds", "type": "quantitative", "scale": {"type": "log"},
            "title": "fit and outlooks, seconds of one processor",
        },
    }  # fmt: skip
    which = {"field": "what", "title": None}
    spec = {
        "width": 420, "height": 260, "data": {"values": rows},
        "layer": [
            {"mark": {"type": "line", "color": "#333"}, "encoding": {**axes, "strokeDash": which}},
            {"mark": {"type": "point", "color": "#333"}, "encoding": {**axes, "shape": which}},
        ],
    }  # fmt: skip
    return vl_convert.vegalite_to_svg(json.dumps(spec))
