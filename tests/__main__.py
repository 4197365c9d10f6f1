"""The test command: `python -m tests` runs the suite on SQLite and, beside it, on PostgreSQL with
Redis.

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
from dataclasses import dataclass
from queue import SimpleQueue
from threading import Thread

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
        with ExitStack() as stack:
            runs = [
                stack.enter_context(begun_run(name, arguments, stack.enter_context(made())))
                for name, made in (("sqlite", on_sqlite), ("postgres", on_postgresql))
                if chosen.only in (None, name)
            ]
            for run in runs:
                codes.append(told(run, outcomes, notes))
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


@dataclass(frozen=True)
class Run:
    """One pytest under way, and what it says, line by line, None at its end."""

    name: str
    process: subprocess.Popen[str]
    lines: SimpleQueue[str | None]


@contextmanager
def begun_run(name: str, arguments: list[str], environment: dict[str, str]) -> Iterator[Run]:
    """A pytest that runs beside the others; ended with the block."""
    command = [sys.executable, "-m", "pytest", *arguments]
    with subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, text=True) as process:
        run = Run(name, process, SimpleQueue())
        Thread(target=listen, args=[run], daemon=True).start()
        try:
            yield run
        finally:
            if process.poll() is None:
                process.terminate()


def listen(run: Run) -> None:
    assert run.process.stdout is not None
    for line in run.process.stdout:
        run.lines.put(line)
    run.lines.put(None)


def told(run: Run, outcomes: Counter[str], notes: list[str]) -> int:
    """Show one run from its beginning to its end; its exit code is returned."""
    print(f"--- the suite on {run.name} ---", flush=True)
    try:
        closing = shown(run, notes)
    except KeyboardInterrupt:
        shown(run, notes)  # Ctrl-C reached pytest as well: it says how far it came
        raise
    code = run.process.wait()
    counted = Counter({word: int(number) for number, word in OUTCOME.findall(closing)})
    told_of = counted["failed"] + counted["error"]
    if code not in (0, NOTHING_COLLECTED) and not told_of:
        counted["error"] += 1  # it broke off before it could say so
    outcomes.update(counted)
    return code


def shown(run: Run, notes: list[str]) -> str:
    """Show what pytest says as it says it; its closing line is returned.

    `notes` gains what is to be said again at the very end.
    """
    closing = ""
    while (line := run.lines.get()) is not None:
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
