"""Who may sign how a pack travels, and what stands beside each condition."""

from datetime import date

import pytest

from packs.rules import shipping

DAY = date(2024, 3, 10)
HELD: list[dict[str, str | None]] = [
    {"level": "Dangerous goods by road", "expires_on": "2024-03-10"},
    {"level": "first aid", "expires_on": None},
]


def test_a_qualification_that_stands_signs() -> None:
    assert shipping.signing(HELD, "dangerous goods by road", DAY) is None


@pytest.mark.parametrize(
    ("named", "day", "word"),
    [
        ("Dangerous goods by road", date(2024, 3, 11), "expired on 2024-03-10"),
        ("first aid", DAY, "does not cover"),
        ("dangerous goods by air", DAY, "Nobody recorded"),
    ],
)
def test_any_other_does_not(named: str, day: date, word: str) -> None:
    problem = shipping.signing(HELD, named, day)
    assert problem is not None
    assert word in problem


def test_a_site_names_its_own_signers() -> None:
    assert shipping.signing(HELD, "first aid", DAY, signers=["First aid"]) is None
    assert shipping.signing(HELD, "dangerous goods by road", DAY, signers=["class 9"]) is not None


@pytest.mark.parametrize("condition", ["sound", "damaged_or_defective", "for_disposal"])
def test_each_condition_names_where_to_read_on(condition: str) -> None:
    lithium = shipping.advice("li_ion", condition)
    assert len(lithium.references) >= 3
    assert shipping.advice("nimh", condition) is shipping.advice("nimh", "sound")
    assert lithium is not shipping.advice("nimh", condition)


def test_every_number_has_its_name() -> None:
    assert {number for some in shipping.UN_NUMBERS.values() for number in some} == set(
        shipping.NAMES
    )
