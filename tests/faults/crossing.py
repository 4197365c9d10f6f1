"""Pairs of streams that name the same packs in opposite order: neither may wait for ever."""

import random
import time
from collections.abc import Sequence
from dataclasses import dataclass, field

from tests.faults import reckoning
from tests.faults.senders import Sender
from tests.faults.shop import Shop
from tests.faults.streams import Said, Stream, line

KINDS = ("each its own names", "the same names", "the same names for other packs")


@dataclass
class Crossed:
    """How often, the longest pair, and what went wrong."""

    pairs: int = 0
    longest_s: float = 0.0
    breaches: list[str] = field(default_factory=list)

    def told(self) -> str:
        return f"{self.pairs} pairs of crossing streams, the longest in {self.longest_s:.1f} s"


def cross(shop: Shop, times: int, *, seed: int, packs: int, count: int) -> Crossed:
    """Send `times` pairs of so many lines; each must be answered at the first post."""
    rnd, done = random.Random(seed), Crossed()
    for number in range(times):
        begun = time.monotonic()
        kind = KINDS[number % len(KINDS)]
        pair = _pair(rnd, f"x{seed}.{number}", kind, packs, count)
        senders = [Sender(shop.port, shop.token, stream) for stream in pair]
        for sender in senders:
            sender.start()
        for sender in senders:
            sender.join()
            heard = sender.ledger
            answered = sum(heard.statuses.values())
            if heard.posts != 1 or answered != count:
                broken = f"{dict(heard.broken)} {heard.odd[:3]}"
                done.breaches.append(
                    f"{kind}: {answered} of {count} lines answered in {heard.posts} posts {broken}"
                )
        done.pairs += 1
        done.longest_s = max(done.longest_s, time.monotonic() - begun)
        done.breaches += reckoning.still(shop, reckoning.WAITING, "waits for a lock")
    done.breaches += reckoning.deadlocks(shop)
    return done


def _pair(rnd: random.Random, name: str, kind: str, packs: int, count: int) -> Sequence[Stream]:
    """One from the first pack to the last, one from the last to the first.

    The same names in opposite order for other packs wait for each other in the index alone.
    """
    numbers = range(count)
    if kind == KINDS[2]:
        half = packs // 2
        there = [_said(rnd, f"{name}:{at}", at % half, at) for at in numbers]
        return [Stream(there), Stream([_moved(rnd, said, half) for said in reversed(there)])]
    there = [_said(rnd, f"{name}:{at}", at * packs // count, at) for at in numbers]
    if kind == KINDS[1]:
        return [Stream(there), Stream([*reversed(there)])]
    back = [_said(rnd, f"{name}:b{at}", at * packs // count, at) for at in reversed(numbers)]
    return [Stream(there), Stream(back)]


def _moved(rnd: random.Random, said: Said, by: int) -> Said:
    """The same name for another pack."""
    number = int(said.mark.rpartition(":")[2])
    return _said(rnd, said.mark, by + number % by, number)


def _said(rnd: random.Random, mark: str, pack: int, minute: int) -> Said:
    return line(mark, pack, minute, rnd.uniform(7.7, 7.9), external_id=mark)
