"""What desk and owner of the made-up shop say to each other: prices, consents, calls, pictures."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from shop.demo.books import Books
from shop.demo.events import Ref
from shop.demo.stays import Stay

KEPT_SINCE_D = -400.0  # the day from which the desk keeps its papers in the register
INTAKES_SINCE_D = -120.0
HOURS = {"module": 4.5, "capacity": 4.5, "leak": 6.0, "isolation": 3.0}
HOURS_ELSE = 2.0
VALID_D = 21
CALLED_SHARE = 0.6  # of owners who are called when the car is ready
SIGNED_SHARE = 0.7

Line = dict[str, Any]


def keeps_papers(stay: Stay) -> bool:
    return stay.day >= KEPT_SINCE_D


def intake(stay: Stay) -> None:
    """The owner's word to the diagnosis, given when the car is brought."""
    if stay.day >= INTAKES_SINCE_D:
        consent(stay, "intake", how="signed")


def labour(books: Books, what: str, hours: float) -> Line:
    price = Decimal(books.prices["hour"])
    return {"kind": "labour", "what": what, "quantity": Decimal(str(hours)), "unit_price": price}


def part(what: str, quantity: int, price: str) -> Line:
    return {
        "kind": "part",
        "what": what,
        "quantity": Decimal(quantity),
        "unit_price": Decimal(price),
    }


def lines_for(stay: Stay, cause: str, slots: Sequence[str], modules: int) -> list[Line]:
    """What the repair of a cause is expected to take."""
    books, kind = stay.books, stay.life.kind
    prices = books.prices["parts"]
    if cause in {"module", "capacity", "leak"}:
        told = [part("modules, tested and matched", modules, books.prices["modules"][kind.code])]
    elif slots:
        names = [slot.partition(":")[0] for slot in slots]
        told = [part(name.replace("_", " "), 1, prices[name]) for name in names]
    else:
        told = [part("cleaning and sealing", 1, prices["sealing"])]
    diagnosis = {
        "kind": "other",
        "what": "diagnosis",
        "quantity": Decimal(1),
        "unit_price": Decimal(books.prices["diagnosis"]),
    }
    hours = HOURS.get(cause, HOURS_ELSE)
    return [diagnosis, *told, labour(books, "work on the pack, checks, road test", hours)]


def estimate(stay: Stay, lines: Sequence[Line], note: str = "") -> str:
    """What the work is expected to cost; the key of the estimate."""
    entry = {
        "visit": Ref(f"{stay.key}/visit"),
        "at": stay.now(),
        "valid_until": stay.calendar.date(stay.day + VALID_D),
        "tax_pct": Decimal(stay.books.prices["tax_pct"]),
        "note": note,
        "lines": list(lines),
    }
    return stay.tell("cost_estimate", entry, by="DS")


def consent(
    stay: Stay, about: str, *, how: str, of: str | None = None, given: bool = True, note: str = ""
) -> None:
    entry = {
        "visit": Ref(f"{stay.key}/visit"),
        "about": about,
        "estimate": None if of is None else Ref(of),
        "given": given,
        "how": how,
        "at": stay.now(),
        "wording": stay.books.words["consents"][about],
        "note": note,
    }
    stay.tell("consent", entry, by="DS")


def agree(stay: Stay, lines: Sequence[Line], *, given: bool) -> None:
    """An estimate and the owner's word to it."""
    told = estimate(stay, lines)
    how = "signed" if stay.rng.random() < SIGNED_SHARE else "telephone"
    note = "" if given else stay.books.words["refusals"]["owner"]
    consent(stay, "extra_work", how=how, of=told, given=given, note=note)


def call(
    stay: Stay,
    reason: str,
    outcome: str,
    *,
    again_day: float | None = None,
    note: str = "",
    of_visit: bool = True,
) -> None:
    """The owner was called, or somebody tried."""
    entry = {
        "pack": stay.life.serial,
        "visit": Ref(f"{stay.key}/visit") if of_visit else None,
        "at": stay.now(),
        "reason": reason,
        "outcome": outcome,
        "again_on": None if again_day is None else stay.calendar.date(again_day),
        "note": note or (stay.books.words["calls"][reason] if outcome != "not_reached" else ""),
    }
    stay.tell("call", entry, by="DS")


def say_ready(stay: Stay) -> None:
    """Now and then a call that the car can be collected."""
    if keeps_papers(stay) and stay.rng.random() < CALLED_SHARE:
        reached = stay.rng.random() < 0.8
        call(stay, "ready", "reached" if reached else "not_reached")


def warn(stay: Stay, share: float) -> None:
    """Some owners of packs near their limit (`share` of it) hear of it a few days after."""
    if keeps_papers(stay) and share > 0.85 and stay.rng.random() < 0.5:
        stay.next_day(3)
        outcome = str(stay.rng.choice(["reached", "not_reached", "booked"], p=(0.5, 0.3, 0.2)))
        call(stay, "outlook", outcome, of_visit=False)


def photograph(stay: Stay, picture: str) -> str:
    """A picture of what is on the bench; the key of the photograph."""
    entry = {
        "pack": stay.life.serial,
        "visit": Ref(f"{stay.key}/visit"),
        "at": stay.now(),
        "note": stay.books.words["photos"][picture],
        "picture": picture,
    }
    return stay.tell("photo", entry)
