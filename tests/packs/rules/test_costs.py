"""Sums of an estimate of cost."""

from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from packs.rules.costs import cents, sums

AMOUNTS = st.decimals(0, 999_999, places=2)


def test_half_a_cent_goes_up() -> None:
    assert [cents(Decimal(said)) for said in ("0.005", "0.015", "1.004")] == [
        Decimal("0.01"),
        Decimal("0.02"),
        Decimal("1.00"),
    ]


def test_an_estimate_adds_up_as_it_is_printed() -> None:
    told = sums([(Decimal("3"), Decimal("84.50")), (Decimal("5.5"), Decimal("92"))], Decimal("20"))
    assert told.amounts == (Decimal("253.50"), Decimal("506.00"))
    assert (told.net, told.tax, told.total) == tuple(map(Decimal, ("759.50", "151.90", "911.40")))


@given(st.lists(st.tuples(AMOUNTS, AMOUNTS), max_size=5), st.decimals(0, 100, places=2))
def test_the_column_and_the_total_add_up(
    lines: list[tuple[Decimal, Decimal]], tax_pct: Decimal
) -> None:
    told = sums(lines, tax_pct)
    assert sum(told.amounts, Decimal(0)) == told.net
    assert told.net + told.tax == told.total
    assert abs(told.tax - told.net * tax_pct / 100) <= Decimal("0.005")
