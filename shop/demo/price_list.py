"""The price list of the made-up shop, as its manager keeps it in the register."""

from collections.abc import Iterator
from datetime import datetime
from decimal import Decimal
from typing import Any

from shop.demo.books import Books
from shop.demo.events import Event

WORDS = {
    "module": "Module, tested and matched",
    "rebuild": "Rebuild with tested and matched modules",
    "exchange": "Rebuilt pack in exchange",
}
KINDS = {"module": "module", "rebuild": "rebuild", "exchange": "replacement"}
UNLISTED = {"sealing"}  # work on the case, and no part that wears


def price_list(books: Books, at: datetime) -> Iterator[Event]:
    """A line for an hour, for each part, and for each kind of repair of each pack type."""
    prices = books.prices
    hours = prices["hours"]
    yield _line(at, "hour", "An hour of work", "hour", prices["hour"])
    for part, price in prices["parts"].items():
        if part not in UNLISTED:
            what, more = part.replace("_", " ").capitalize(), {"component_kind": part}
            yield _line(at, part, what, "component", price, hours["component"], **more)
    for name, by_type in (
        ("module", prices["modules"]),
        ("rebuild", prices["rebuild"]),
        ("exchange", prices["exchange"]),
    ):
        for code, price in by_type.items():
            key, kind = f"{name} {code}", KINDS[name]
            yield _line(at, key, WORDS[name], kind, price, hours[name], pack_type=code)


def _line(
    at: datetime, code: str, what: str, kind: str, price: str, hours: str = "0", **more: Any
) -> Event:
    entry = {"code": code, "what": what, "kind": kind, **more}
    amounts = {"price": Decimal(price), "hours": Decimal(hours)}
    return Event(at, "price", f"price {code}", {**entry, **amounts})
