"""`serve` as a process: migrates an empty folder, answers, and stops gracefully."""

import os
import signal
import sys
from collections.abc import Iterator
from pathlib import Path
from subprocess import Popen
from urllib.request import urlopen

import pytest

from tests import servers


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


def test_serve_brings_up_an_empty_folder_and_stops_when_told(
    shop: tuple[str, Popen[bytes], Path], tmp_path: Path
) -> None:
    address, running, log = shop
    servers.wait_until_ready(int(address.rpartition(":")[2]), running, log)
    assert (tmp_path / "data" / "secret_key").is_file()
    with urlopen(f"{address}/api/v1/docs/", timeout=10) as response:
        assert "default-src 'self'" in response.headers["Content-Security-Policy"]
    running.send_signal(signal.SIGTERM)
    assert running.wait(timeout=30) == 0, log.read_text()
    assert "Traceback" not in log.read_text()
