"""Exchange packs that a garage fits itself, and the old packs it owes for them."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from shop.demo import desk
from shop.demo.books import Row
from shop.demo.events import Ref
from shop.demo.repairs import take_over
from shop.demo.stays import Life, Stay

GIVEN_D = 30  # days that a garage has to send the old pack
RETURNED_D = 19  # days after which it does, where it does
JUDGED: Mapping[str, Mapping[str, Any]] = {
    "accepted": {"complete": True, "opened": False, "flooded": False},
    "refused": {"complete": False, "opened": True, "flooded": True},
}
PICTURES = {"accepted": "core", "refused": "flooded"}


def exchange(stay: Stay, row: Row, lives: Mapping[str, Life]) -> Stay:
    """The pack leaves its car for another, and is owed; the stay of the pack that went in."""
    old = stay.life
    vehicle = old.vehicle
    assert vehicle is not None
    stay.take_out()
    stay.status("core_due")
    stay.state("closed")
    other = take_over(stay, lives[row["pack"]], vehicle)
    _owe(stay, row["core"])
    return other


def _owe(stay: Stay, story: str) -> None:
    """The core and how it went on."""
    deposit = Decimal(stay.books.prices["deposit"][stay.life.kind.code])
    entry = {
        "pack": stay.life.serial,
        "visit": Ref(f"{stay.key}/visit"),
        "deposit": deposit,
        "due_on": stay.calendar.date(stay.day + GIVEN_D),
        "state": "due",
    }
    key = stay.tell("core", entry, by="DS")
    if story == "due":
        _ask_for(stay)
        return
    stay.next_day(RETURNED_D)
    judged = "refused" if story == "refused" else "accepted"
    entry = {
        **entry,
        **JUDGED[judged],
        "state": judged,
        "returned_on": stay.calendar.date(stay.day),
        "photos": [Ref(desk.photograph(stay, PICTURES[judged]))],
        "reason": stay.books.words["refusals"]["flooded"] if judged == "refused" else "",
    }
    key = stay.tell("core", {**entry, "supersedes": Ref(key)}, by="DS")
    stay.status("scrapped" if judged == "refused" else "shelf")
    if story == "refunded":
        stay.next_day(3)
        paid = {**entry, "state": "refunded", "refund": deposit, "supersedes": Ref(key)}
        stay.tell("core", paid, by="DS")


def _ask_for(stay: Stay) -> None:
    """The garage is called where the day has gone by."""
    if stay.day + GIVEN_D < stay.calendar.workday(-2):
        stay.day = stay.calendar.workday(-2)
        desk.call(stay, "core", "not_reached", again_day=stay.calendar.workday(0), of_visit=False)
