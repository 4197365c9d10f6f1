"""What the page of a pack costs beside what it can not do without: `python -m tests.benchmarks.pack_page`.

On SQLite, a pack with 100 checks and 40 other lines in its history; no estimate is owed. The page is
asked for through Django's test client, with session, sign-in and every template. Against it stand its
own queries, run bare by a cursor and fetched, and the drawing of one chart from its specification.
"Cached": the page was asked for once before, so that its four drawings (two charts, each for a desk
and for a phone) come from Django's cache in memory, under the digest of their specifications; "cold":
the cache is empty. Seconds of the processor, the least of several runs, since others may be at work
on the machine; printed as ratios, since seconds belong to a machine.
"""

import os
import subprocess
import sys
import tempfile
from pathlib import Path


def main() -> None:
    """Once more in a process whose register is a new file."""
    with tempfile.TemporaryDirectory() as name:
        url = f"sqlite:///{Path(name) / 'page.sqlite3'}"
        environment = {**os.environ, "DATABASE_URL": url, "DJANGO_SETTINGS_MODULE": "shop.settings"}
        command = [sys.executable, "-m", "django", "shell", "-v", "0", "-c"]
        measured = "from tests.benchmarks import page_costs; page_costs.measure()"
        subprocess.run([*command, measured], env=environment, check=True)


if __name__ == "__main__":
    main()
