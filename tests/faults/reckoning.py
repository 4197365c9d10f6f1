"""What must hold after servers were killed, read from the database; each breach is a sentence."""

import time
from collections import Counter
from collections.abc import Callable, Iterable, Iterator

from packs.rules.identity import decode
from tests.faults.senders import Ledger
from tests.faults.shop import Shop
from tests.faults.streams import Stream

CLEAN_WITHIN_S = 20.0
TOLD = 5  # of one kind of breach
WAITING = "SELECT count(*) FROM pg_locks WHERE NOT granted"
IDLE = (
    "SELECT count(*) FROM pg_stat_activity WHERE state LIKE 'idle in transaction%' "
    "AND xact_start < now() - interval '10 seconds'"
)
OWED = """
SELECT count(*) FROM packs_pack p
LEFT JOIN reports_outlook o ON o.pack_id = p.id AND o.told_until IS NULL
WHERE o.id IS NULL OR o.pack_revision <> p.revision
   OR p.estimate_due_at <= now() OR p.estimate_claimed_until IS NOT NULL"""


def stored(shop: Shop, name: str) -> list[tuple[str, int]]:
    """The marks and numbers of the checks of one round."""
    with shop.connect() as connection:
        found = connection.execute(
            "SELECT instrument, id FROM packs_voltagecheck WHERE starts_with(instrument, %s)",
            [f"{name}:"],
        )
        return [(str(mark), int(str(number))) for mark, number in found]


def of_round(shop: Shop, name: str, streams: Iterable[Stream], heard: Ledger) -> list[str]:
    """Every line once, under the one id that was acknowledged, and nothing waiting."""
    found = stored(shop, name)
    wanted = {said.mark for stream in streams for said in stream.lines if said.status == 201}
    return [
        *_some("stored more than once", (m for m, n in Counter(m for m, _ in found).items() if n > 1)),
        *_some("not stored", wanted - {mark for mark, _ in found}),
        *_some("stored and never sent", {mark for mark, _ in found} - wanted),
        *_some("never acknowledged", wanted - set(heard.ids)),
        *_some("acknowledged otherwise than stored", _otherwise(dict(found), heard)),
        *_some("said to be new more than once", (m for m, n in heard.created.items() if n > 1)),
        *_some("heard, and not to be expected", heard.odd),
        *still(shop, WAITING, "waits for a lock"),
        *still(shop, IDLE, "transactions left open"),
    ]  # fmt: skip


def _otherwise(found: dict[str, int], heard: Ledger) -> Iterator[str]:
    for mark, ids in heard.ids.items():
        if {decode("vc", one) for one in ids} != {found.get(mark)}:
            yield f"{mark} as {sorted(ids)}"


def _some(what: str, which: Iterable[str]) -> Iterator[str]:
    listed = sorted(which)
    if listed:
        yield f"{len(listed)} {what}: {', '.join(listed[:TOLD])}"


def count(shop: Shop, question: str) -> int:
    with shop.connect() as connection:
        row = connection.execute(question.encode()).fetchone()
    assert row is not None
    return int(str(row[0]))


def still(shop: Shop, question: str, what: str) -> list[str]:
    """What passes is no breach: a worker goes on with its work all the time."""
    left = 0
    for left in until(lambda: count(shop, question), CLEAN_WITHIN_S):
        if not left:
            return []
    return [f"{left} {what}"]


def until(asked: Callable[[], int], within_s: float) -> Iterator[int]:
    """What is answered, again and again, for so long."""
    last = time.monotonic() + within_s
    while time.monotonic() < last:
        yield asked()
        time.sleep(0.1)


def deadlocks(shop: Shop) -> list[str]:
    """What PostgreSQL has logged of deadlocks since it was made."""
    told = [line for line in shop.database.told().splitlines() if "deadlock detected" in line]
    return [*_some("deadlocks in the log", told)]


def without_fsync(shop: Shop) -> list[str]:
    with shop.connect() as connection:
        row = connection.execute("SHOW fsync").fetchone()
    return [] if row == ("on",) else [f"fsync is {row}: nothing is shown about durability"]
