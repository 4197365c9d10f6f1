"""Work on the whole fleet, on PostgreSQL and in arrays alone: `python -m tests.benchmarks.fleet`.

Sizes of the fleet are arguments: `--packs 1000,10000,100000` with the database, `--arrays
1000,10000,100000,1000000` without; `--workers` measures one and two Celery workers at the largest;
`--plot FILE.svg` draws the cost against the size. Prints ratios, and the exponent of the cost:
the slope of its logarithm over that of the size. Of shared processors the time that this process
itself took is told too, for the clock tells of the neighbours as well.
"""

import argparse
import json
import os
import subprocess
import sys
from contextlib import ExitStack

from tests import servers

SINGLE = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}  # one worker is one processor


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.fleet", description=__doc__)
    parser.add_argument("--packs", type=sizes, default=[1_000, 10_000, 100_000])
    parser.add_argument("--arrays", type=sizes, default=[1_000, 10_000, 100_000, 1_000_000])
    parser.add_argument("--workers", action="store_true")
    parser.add_argument("--plot", default="")
    chosen = parser.parse_args()
    with ExitStack() as stack:
        url = stack.enter_context(servers.postgresql(durable=True))
        broker = stack.enter_context(servers.redis()) if chosen.workers else ""
        environment = {
            **os.environ,
            **SINGLE,
            "DATABASE_URL": url,
            "REDIS_URL": broker,
            "SECRET_KEY": "k" * 60,
            "DJANGO_SETTINGS_MODULE": "shop.settings",
        }
        command = [sys.executable, "-m", "django", "shell", "-v", "0", "-c"]
        measured = "from tests.benchmarks import fleet_costs; fleet_costs.measure({})"
        given = json.dumps(vars(chosen)).replace("false", "False").replace("true", "True")
        subprocess.run([*command, measured.format(given)], env=environment, check=True)


def sizes(text: str) -> list[int]:
    return [int(each) for each in text.split(",") if each]


if __name__ == "__main__":
    main()
