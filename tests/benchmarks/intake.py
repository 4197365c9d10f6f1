"""Checks over HTTP on PostgreSQL against three rivals: `python -m tests.benchmarks.intake`.

50,000 checks of 28 positions as lines of one request, durable when answered; the same through a
stock ModelSerializer that stores a row a reading, through a plain serializer with bulk_create, and
by a bare COPY of the rows as they are stored. Prints ratios, since seconds belong to a machine.
`--single` posts one check at a time, against a bare view that stores the same rows; `--memory` a
million lines, and tells what the web process grew by.
"""

import os
import subprocess
import sys

from tests import servers

MODES = {"--single": "single", "--memory": "intake_memory"}


def main() -> None:
    module = MODES.get(" ".join(sys.argv[1:]), "intake_costs")
    with servers.postgresql(durable=True) as url:
        environment = {**os.environ, "DATABASE_URL": url, "REDIS_URL": "", "SECRET_KEY": "k" * 60}
        environment["DJANGO_SETTINGS_MODULE"] = "shop.settings"
        command = [sys.executable, "-m", "django", "shell", "-v", "0", "-c"]
        measured = f"from tests.benchmarks import {module}; {module}.measure()"
        subprocess.run([*command, measured], env=environment, check=True)


if __name__ == "__main__":
    main()
