"""The test command: `python -m tests` runs the suite on SQLite, then on PostgreSQL with Redis.

DATABASE_URL and REDIS_URL are used where they name servers; else servers are started and stopped.
Whatever else stands on the command line goes to pytest.
"""

import argparse
import os
import re
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager

from tests import servers
from tests.browser import chromium

NOTHING_COLLECTED = 5  # pytest's own exit code
STOPPED = 130
OUTCOME = re.compile(r"(\d+) (passed|failed|error|skipped|deselected|xfailed|xpassed)s?\b")
CLOSING = re.compile(r"^(=+ )?(\d+ [a-z]+(, )?)+.* in [\d.]+s.*$")
SETTINGS = {
    "ALLOWED_HOSTS",
    "DATABASE_URL",
    "DEBUG",
    "EMAIL_URL",
    "HTTPS",
    "REDIS_URL",
    "TIME_ZONE",
}
OWN_KEY = "a key for tests only, which signs nothing that leaves this machine"


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests", description=__doc__)
    parser.add_argument("--only", choices=("sqlite", "postgres"), help="one database only")
    chosen, arguments = parser.parse_known_args()
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(STOPPED))
    begun = time.monotonic()
    outcomes: Counter[str] = Counter()
    codes: list[int] = []
    notes: list[str] = []
    try:
        for name, surroundings in (("sqlite", on_sqlite), ("postgres", on_postgresql)):
            if chosen.only in (None, name):
                with surroundings() as environment:
                    codes.append(run_pytest(name, arguments, environment, outcomes, notes))
    except KeyboardInterrupt:
        codes.append(STOPPED)
    for note in notes:
        print(note)
    print(closing_line(outcomes, time.monotonic() - begun), flush=True)
    return exit_code(codes)


@contextmanager
def on_sqlite() -> Iterator[dict[str, str]]:
    yield surroundings({})


@contextmanager
def on_postgresql() -> Iterator[dict[str, str]]:
    with ExitStack() as stack:
        database = os.environ.get("DATABASE_URL", "")
        if not database.startswith("postgres"):
            database = stack.enter_context(servers.postgresql())
        broker = os.environ.get("REDIS_URL", "") or stack.enter_context(servers.redis())
        yield surroundings({"DATABASE_URL": database, "REDIS_URL": broker})


def surroundings(given: Mapping[str, str]) -> dict[str, str]:
    """The environment of one run: nothing of the caller's settings but what is given here."""
    ours = {
        "DATABASE_URL",
        "REDIS_URL",
        "DEBUG",
        "HTTPS",
        "ALLOWED_HOSTS",
        "EMAIL_URL",
        "TIME_ZONE",
    }
    kept = {name: value for name, value in os.environ.items() if name not in ours}
    return {**kept, "SECRET_KEY": OWN_KEY, "PYTHONUNBUFFERED": "1", **given}


def run_pytest(
    name: str,
    arguments: list[str],
    environment: dict[str, str],
    outcomes: Counter[str],
    notes: list[str],
) -> int:
    print(f"--- the suite on {name} ---", flush=True)
    command = [sys.executable, "-m", "pytest", *arguments]
    with subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, text=True) as running:
        try:
            closing = shown(running, notes)
        except KeyboardInterrupt:
            shown(running, notes)  # Ctrl-C reached pytest as well: it says how far it came
            raise
        except SystemExit:
            running.terminate()
            raise
    counted = Counter({word: int(number) for number, word in OUTCOME.findall(closing)})
    told = counted["failed"] + counted["error"]
    if running.returncode not in (0, NOTHING_COLLECTED) and not told:
        counted["error"] += 1  # it broke off before it could say so
    outcomes.update(counted)
    return running.returncode


def shown(running: subprocess.Popen[str], notes: list[str]) -> str:
    """Show what pytest says as it says it; its closing line is returned.

    `notes` gains what is to be said again at the very end.
    """
    assert running.stdout is not None
    closing = ""
    for line in running.stdout:
        print(line, end="", flush=True)
        closing = line if CLOSING.match(line) else closing
        if note := chromium.skipped(line):
            notes.append(note)
    return closing


def closing_line(outcomes: Counter[str], seconds: float) -> str:
    failed = outcomes["failed"] + outcomes["error"]
    skipped = f", {outcomes['skipped']} skipped" if outcomes["skipped"] else ""
    return f"{outcomes['passed']} passed, {failed} failed{skipped} in {seconds:.1f}s"


def exit_code(codes: list[int]) -> int:
    """Nothing collected on one database is fine where the other had tests."""
    told = [code for code in codes if code not in (0, NOTHING_COLLECTED)]
    if told:
        return max(told)
    return 0 if 0 in codes else NOTHING_COLLECTED


if __name__ == "__main__":
    sys.exit(main())
