"""Kills servers while lines are posted: `python -m tests.faults [--rounds 50] [--seed 1]`.

Beside that, senders that read nothing until they have sent all, streams that break off, and pairs
that cross. Prints figures, and ends with 1 where something did not hold.
"""

import argparse
import signal
import sys
import tempfile
import time
from pathlib import Path

from tests.__main__ import STOPPED
from tests.faults import crossing, deaf, rounds
from tests.faults.deaf import Deaf
from tests.faults.shop import opened, served

PACKS = 200
CROSSING_LINES = 6_000
BROKEN_LINES = 30_000


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.faults", description=__doc__)
    parser.add_argument("--rounds", type=int, default=50, help="rounds of kills (%(default)s)")
    parser.add_argument("--crossings", type=int, default=20, help="pairs (%(default)s)")
    parser.add_argument("--lines", type=int, default=200_000, help="of the deaf (%(default)s)")
    parser.add_argument("--seed", type=int, default=1, help="another seed, other moments")
    chosen = parser.parse_args()
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(STOPPED))
    breaches = small_shop(chosen.lines) if chosen.lines else []
    with opened(PACKS) as shop:
        crossed = crossing.cross(
            shop, chosen.crossings, seed=chosen.seed, packs=PACKS, count=CROSSING_LINES
        )
        print(crossed.told(), flush=True)
        done = rounds.kill_for_rounds(
            shop, chosen.rounds, seed=chosen.seed, packs=PACKS, progress=show
        )
        print(done.told(), flush=True)
        begun = time.monotonic()
        breaches += [*crossed.breaches, *done.breaches, *rounds.wait_for_workers(shop)]
        print(f"worker and beat left nothing owed after {time.monotonic() - begun:.0f} s")
        breaches += rounds.close_accounts(shop)
        breaches += deafly("gunicorn", Deaf(shop.port, shop.token), chosen.lines)
    for breach in breaches:
        print(f"BREACH {breach}")
    print("Everything holds." if not breaches else f"{len(breaches)} breaches.")
    return 1 if breaches else 0


def small_shop(lines: int) -> list[str]:
    with (
        tempfile.TemporaryDirectory(prefix="served-") as folder,
        served(PACKS, Path(folder) / "shop.sqlite3") as (port, token),
    ):
        return deafly("serve", Deaf(port, token), lines)


def deafly(name: str, sender: Deaf, lines: int) -> list[str]:
    """Lines in chunks and with their length, then streams that break off."""
    if not lines:
        return []
    found = []
    for chunked in (True, False):
        begun = time.monotonic()
        way = f"{name} {'in chunks' if chunked else 'with its length'}"
        found += deaf.post_all(sender, lines, name=way, packs=PACKS, chunked=chunked)
        print(f"{way}: {time.monotonic() - begun:.0f} s", flush=True)
    return found + deaf.break_and_repeat(sender, BROKEN_LINES, name=name, packs=PACKS)


def show(line: str) -> None:
    print(line, file=sys.stderr, flush=True)


if __name__ == "__main__":
    sys.exit(main())
