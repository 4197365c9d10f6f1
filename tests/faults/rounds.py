"""Rounds in which servers are killed while four senders post: nothing acknowledged is lost."""

import random
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from tests.faults import reckoning, streams
from tests.faults.senders import Ledger, Sender
from tests.faults.shop import KINDS, Shop
from tests.servers import ServerFailed

REACH_S = 0.9  # the moment of a kill lies within this of the one before
DOWN_S = 0.5  # how long a server stays away at most, before it is started again
COUNTS = (300, 2_000, 7_000, 12_000)  # lines that are shared; a batch has 5,000
FEW = (1_000, 7_500)
SETTLED_WITHIN_S = 300.0  # claims of dead workers run out after 60 s, beat looks every 30 s


@dataclass
class Figures:
    """What was done, and what went wrong."""

    rounds: int = 0
    kills: Counter[str] = field(default_factory=Counter)
    while_sending: int = 0
    lines: int = 0
    heard: Ledger = field(default_factory=Ledger)
    breaches: list[str] = field(default_factory=list)
    seconds: float = 0.0

    def told(self) -> str:
        kills = ", ".join(f"{kind} {self.kills[kind]}" for kind in KINDS)
        broken = ", ".join(f"{why} {count}" for why, count in self.heard.broken.most_common())
        statuses = self.heard.statuses
        new = sum(self.heard.created.values())
        return (
            f"{self.rounds} rounds in {self.seconds:.0f} s; "
            f"{self.kills.total()} kills ({kills}), {self.while_sending} while lines were sent\n"
            f"{self.lines} different lines, sent {self.heard.sent} times in {self.heard.posts} "
            f"posts, {self.heard.posts - 4 * self.rounds} of them again ({broken})\n"
            f"acknowledged: {len(self.heard.ids)} lines, {new} as new and "
            f"{len(self.heard.ids) - new} first when sent again; {statuses[200]} repeats, "
            f"{sum(statuses.values()) - statuses[200] - statuses[201]} refusals"
        )


def deck(rnd: random.Random) -> Iterator[str]:
    """Kinds of kills in any order, each as often as the others."""
    while True:
        yield from rnd.sample(KINDS, len(KINDS))


def kill_for_rounds(
    shop: Shop,
    rounds: int,
    *,
    seed: int,
    packs: int,
    small: bool = False,
    progress: Callable[[str], None] = lambda _: None,
) -> Figures:
    """Play the rounds; what is owed is not yet looked at."""
    rnd, done = random.Random(seed), Figures()
    kinds, begun = deck(rnd), time.monotonic()
    done.breaches += reckoning.without_fsync(shop)
    for number in range(rounds):
        kills = 3 if small else rnd.choice((1, 2, 3))
        count = FEW[number % len(FEW)] if small else rnd.choice(COUNTS)
        sent = streams.four(rnd, f"{seed}.{number}", packs, count)
        play(shop, f"{seed}.{number}", sent, [next(kinds) for _ in range(kills)], rnd, done)
        progress(f"round {number + 1}: {done.kills.total()} kills, {done.lines} lines")
        if done.breaches:
            break
    done.seconds = time.monotonic() - begun
    return done


def play(
    shop: Shop,
    name: str,
    sent: list[streams.Stream],
    kinds: list[str],
    rnd: random.Random,
    done: Figures,
) -> None:
    senders = [Sender(shop.port, shop.token, stream) for stream in sent]
    for sender in senders:
        sender.start()
    for kind in kinds:
        time.sleep(rnd.uniform(0.05, REACH_S))
        under_way = any(sender.is_alive() for sender in senders)
        if shop.strike(kind, rnd):
            done.kills[kind] += 1
            done.while_sending += under_way
        time.sleep(rnd.uniform(0, DOWN_S))
        shop.mend(kind)
    heard = Ledger()
    for sender in senders:
        sender.join()
        heard.add(sender.ledger)
    done.rounds += 1
    done.lines += len({said.mark for stream in sent for said in stream.lines if said.mark})
    done.breaches += [f"round {name}: {one}" for one in _after(shop, name, sent, heard)]
    done.heard.add(heard)


def _after(shop: Shop, name: str, sent: list[streams.Stream], heard: Ledger) -> list[str]:
    return [*reckoning.of_round(shop, name, sent, heard), *reckoning.deadlocks(shop)]


def wait_for_workers(shop: Shop) -> list[str]:
    """Worker and beat work out what is owed by themselves, when the claims of the dead run out."""
    left = 0
    for left in reckoning.until(lambda: reckoning.count(shop, reckoning.OWED), SETTLED_WITHIN_S):
        if not left:
            return []
        time.sleep(1)
    return [f"{left} packs are still owed an outlook after {SETTLED_WITHIN_S:g} s"]


def close_accounts(shop: Shop) -> list[str]:
    """Sweep what is left, walk the whole database, and see that nothing is owed."""
    try:
        shop.within("from tests.faults import founding; founding.close_accounts()")
    except ServerFailed as failed:
        return [str(failed)]
    left = reckoning.count(shop, reckoning.OWED)
    return [f"{left} packs are owed an outlook after the sweep"] if left else []
