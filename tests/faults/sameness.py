"""The same lines one by one and as a stream: `python -m tests.faults.sameness [--lines 10000]`.

What is stored must be the same column by column, and what is answered line by line. Runs on
PostgreSQL, or with `--database sqlite` on SQLite; ends with 1 where anything differs.
"""

import argparse
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests import servers
from tests.__main__ import surroundings
from tests.faults.shop import within

SAME = "The same."


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.faults.sameness", description=__doc__)
    parser.add_argument("--lines", type=int, default=10_000, help="how many (%(default)s)")
    parser.add_argument("--seed", type=int, default=1, help="another seed, other lines")
    parser.add_argument("--database", choices=("postgresql", "sqlite"), default="postgresql")
    chosen = parser.parse_args()
    with database(chosen.database) as url:
        code = f"from tests.faults import comparing; comparing.show({chosen.lines}, {chosen.seed})"
        told = within(surroundings({"DATABASE_URL": url}), code)
    print(told)
    return 0 if told.rstrip().endswith(SAME) else 1


@contextmanager
def database(kind: str) -> Iterator[str]:
    if kind == "postgresql":
        with servers.postgresql() as url:
            yield url
        return
    with tempfile.TemporaryDirectory(prefix="same-") as folder:
        yield f"sqlite:///{Path(folder) / 'shop.sqlite3'}"


if __name__ == "__main__":
    sys.exit(main())
