"""A shop with servers of its own, each of which may be killed and is started again."""

import os
import random
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path

import psycopg

from tests import servers
from tests.__main__ import surroundings

WEB_PROCESSES = 2
KINDS = ("postgresql", "redis", "web", "web process", "worker")


class Shop:
    """PostgreSQL with fsync, Redis, gunicorn as the container runs it, and a worker with beat."""

    def __init__(self, folder: Path, database: servers.Postgresql) -> None:
        self.database = database
        self.port, self.broker_port = servers.free_port(), servers.free_port()
        broker = f"redis://127.0.0.1:{self.broker_port}/0"
        self.environment = surroundings({"DATABASE_URL": database.url, "REDIS_URL": broker})
        web = [sys.executable, "-m", "gunicorn", "shop.wsgi", "--config", "python:shop.gunicorn"]
        bind = ["--bind", f"127.0.0.1:{self.port}", "--workers", WEB_PROCESSES]
        beat = ("--beat", "--schedule", str(folder / "beat"), "--pidfile", "")
        self.processes: Mapping[str, servers.Process] = {
            "redis": servers.redis_process(self.broker_port, folder),
            "web": servers.Process([*web, *bind], folder / "web", self.environment),
            "worker": servers.worker_process(self.environment, folder / "worker", *beat),
        }
        self.token = ""

    def open(self, packs: int) -> None:
        """Found the register with so many packs, and open the doors."""
        self.processes["redis"].start()
        self.token = self.within(founded(packs)).splitlines()[-1]
        web = self.processes["web"].start()
        self.processes["worker"].start()
        servers.wait_until_ready(self.port, web, self.processes["web"].log)

    def within(self, code: str) -> str:
        return within(self.environment, code)

    def strike(self, kind: str, rnd: random.Random) -> bool:
        """Kill a server; whether there was anything to kill."""
        if kind == "postgresql":
            self.database.break_off()
        elif kind == "web process":
            children = self.processes["web"].children()
            with suppress(ProcessLookupError):
                os.kill(rnd.choice(children), signal.SIGKILL) if children else None
            return bool(children)
        else:
            self.processes[kind].kill()
        return True

    def mend(self, kind: str) -> None:
        """Start what was killed; gunicorn itself sees to its processes."""
        if kind == "postgresql":
            self.database.start()
        elif kind in self.processes:
            self.processes[kind].start()

    def connect(self) -> "psycopg.Connection[tuple[object, ...]]":
        return psycopg.connect(self.database.url, autocommit=True)

    def close(self) -> None:
        for process in self.processes.values():
            process.kill()


def founded(packs: int) -> str:
    return f"from tests.faults import founding; founding.found({packs})"


def within(environment: Mapping[str, str], code: str) -> str:
    """Run this inside the service, in a process of its own; what it printed."""
    command = [sys.executable, "-m", "django", "shell", "-v", "0", "-c", code]
    surrounded = {**environment, "DJANGO_SETTINGS_MODULE": "shop.settings"}
    done = subprocess.run(command, env=surrounded, capture_output=True, text=True, check=False)
    if done.returncode:
        raise servers.ServerFailed(done.stdout + done.stderr)
    return done.stdout


@contextmanager
def opened(packs: int, *, tables: bytes | None = None) -> Iterator[Shop]:
    """A shop under way, until the context ends; `tables` spares it the migrations."""
    with (
        servers.postgresql_server(durable=True) as database,
        tempfile.TemporaryDirectory(prefix="faults-") as folder,
    ):
        made = Shop(Path(folder), database)
        try:
            if tables is not None:
                servers.load_tables(database.url, tables)
            made.open(packs)
            yield made
        finally:
            made.close()


@contextmanager
def served(packs: int, file: Path) -> Iterator[tuple[int, str]]:
    """`serve` over this SQLite file, as a small shop runs it; yields its port and a token."""
    environment = surroundings({"DATABASE_URL": f"sqlite:///{file}"})
    token = within(environment, founded(packs)).splitlines()[-1]
    port, log = servers.free_port(), file.with_name("serve")
    command = [sys.executable, "manage.py", "serve", "--bind", f"127.0.0.1:{port}"]
    with servers.process(command, log, environment) as running:
        servers.wait_until_ready(port, running, log)
        yield port, token
