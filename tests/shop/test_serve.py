"""`serve` as a process: migrates an empty folder, answers, and stops gracefully."""

import os
import signal
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from subprocess import Popen
from urllib.error import URLError
from urllib.request import urlopen

import pytest

from tests import servers

READY_WITHIN_S = 60.0


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[tuple[str, Popen[bytes], Path]]:
    bind = f"127.0.0.1:{servers.free_port()}"
    log = tmp_path / "log"
    environment = {
        **os.environ,
        "DATABASE_URL": f"sqlite:///{tmp_path}/data/shop.sqlite3",
        "REDIS_URL": "",
        "SECRET_KEY": "",
    }
    command = [sys.executable, "manage.py", "serve", "--bind", bind]
    with servers.process(command, log, environment) as running:
        yield f"http://{bind}", running, log


def wait_until_ready(address: str, running: Popen[bytes]) -> bool:
    last = time.monotonic() + READY_WITHIN_S
    while time.monotonic() < last and running.poll() is None:
        try:
            with urlopen(f"{address}/health/ready", timeout=5) as response:
                return bool(response.status == 200)
        except (URLError, ConnectionError):
            time.sleep(0.1)
    return False


def test_serve_brings_up_an_empty_folder_and_stops_when_told(
    shop: tuple[str, Popen[bytes], Path], tmp_path: Path
) -> None:
    address, running, log = shop
    assert wait_until_ready(address, running), log.read_text()
    assert (tmp_path / "data" / "secret_key").is_file()
    with urlopen(f"{address}/api/v1/docs/", timeout=10) as response:
        assert "default-src 'self'" in response.headers["Content-Security-Policy"]
    running.send_signal(signal.SIGTERM)
    assert running.wait(timeout=30) == 0, log.read_text()
    assert "Traceback" not in log.read_text()
