"""Checks over HTTP on PostgreSQL against three rivals: `python -m tests.benchmarks.intake`.

50,000 checks of 28 positions as lines of one request, durable when answered; the same through a
stock ModelSerializer that stores a row a reading, through a plain serializer with bulk_create, and
by a bare COPY of the rows as they are stored. Prints ratios, since seconds belong to a machine.
"""

import os
import subprocess
import sys

from tests import servers


def main() -> None:
    with servers.postgresql(durable=True) as url:
        environment = {**os.environ, "DATABASE_URL": url, "REDIS_URL": "", "SECRET_KEY": "k" * 60}
        environment["DJANGO_SETTINGS_MODULE"] = "shop.settings"
        command = [sys.executable, "-m", "django", "shell", "-v", "0", "-c"]
        measured = "from tests.benchmarks import intake_costs; intake_costs.measure()"
        subprocess.run([*command, measured], env=environment, check=True)


if __name__ == "__main__":
    main()
