"""What an estimate of cost comes to."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

CENT = Decimal("0.01")


@dataclass(frozen=True)
class Sums:
    """Amounts of the lines, their sum, the tax on it, and both together."""

    amounts: tuple[Decimal, ...]
    net: Decimal
    tax: Decimal
    total: Decimal


def cents(amount: Decimal) -> Decimal:
    """Rounded to cents, half a cent up."""
    return amount.quantize(CENT, ROUND_HALF_UP)


def sums(lines: Sequence[tuple[Decimal, Decimal]], tax_pct: Decimal) -> Sums:
    """The sums of lines of (quantity, price of one).

    Each line is rounded to cents, so that the column adds up as printed; the tax is taken from
    the net sum and rounded once.
    """
    amounts = tuple(cents(quantity * price) for quantity, price in lines)
    net = sum(amounts, Decimal("0.00"))
    tax = cents(net * tax_pct / 100)
    return Sums(amounts=amounts, net=net, tax=tax, total=net + tax)
