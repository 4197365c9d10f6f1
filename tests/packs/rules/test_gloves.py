"""Gloves: the classes of ASTM D120 and IEC 60903, and how long a test of them holds."""

from datetime import date

import pytest

from packs.rules.gloves import MAX_USE_DC_V, DateRule, Gloves, class_of, last_day, refusals

CLASSES = {"00": 750, "0": 1_500, "1": 11_250, "2": 25_500, "3": 39_750, "4": 54_000}
MAX_USE_AC_V = {"00": 500, "0": 1_000, "1": 7_500, "2": 17_000, "3": 26_500, "4": 36_000}
HERE = DateRule()


def pair(**changes: object) -> Gloves:
    told: dict[str, object] = {
        "code": "G-1",
        "rating": "class 0",
        "tested_on": date(2024, 1, 15),
        "issued_on": date(2024, 2, 1),
        **changes,
    }
    return Gloves(**told)  # type: ignore[arg-type]


def found(
    gloves: Gloves, worn_on: date, *, volts: float = 300.0, rule: DateRule = HERE
) -> list[str]:
    return [one.code for one in refusals(gloves, highest_v=volts, worn_on=worn_on, rule=rule)]


def test_the_classes_are_those_published() -> None:
    """ASTM D120, IEC 60903: the d.c. use voltage is one and a half times the a.c. one."""
    assert MAX_USE_DC_V == CLASSES
    assert {name: 1.5 * volts for name, volts in MAX_USE_AC_V.items()} == CLASSES


@pytest.mark.parametrize(
    ("rating", "named"),
    [
        ("class 0", "0"),
        ("00", "00"),
        (" 0 ", "0"),
        ("Class 00, 500 V a.c.", "00"),
        ("IEC 60903 class 2 RC", "2"),
        ("CLASS0", "0"),
        ("class 10", None),
        ("class 5", None),
        ("1000 V", None),
        ("red", None),
        ("", None),
    ],
)
def test_the_class_in_a_rating(rating: str, named: str | None) -> None:
    assert class_of(rating) == named


@pytest.mark.parametrize(("named", "volts"), CLASSES.items())
def test_a_class_is_good_up_to_its_voltage_and_no_further(named: str, volts: int) -> None:
    gloves, day = pair(rating=named), date(2024, 3, 1)
    assert found(gloves, day, volts=volts) == []
    assert found(gloves, day, volts=volts + 0.1) == ["glove_class_too_low"]


def test_a_class_too_low_says_which_would_do() -> None:
    (one,) = refusals(pair(rating="class 00"), highest_v=800.0, worn_on=date(2024, 3, 1), rule=HERE)
    assert one.sentence == (
        "Gloves G-1 are class 00, good for 750 V d.c.; this pack has up to 800.0 V. "
        "Take gloves of class 0."
    )


def test_gloves_without_a_class_are_refused() -> None:
    assert found(pair(rating="red"), date(2024, 3, 1)) == ["glove_class_unknown"]


@pytest.mark.parametrize(
    ("changes", "last"),
    [
        ({}, date(2024, 8, 1)),
        ({"issued_on": None}, date(2025, 1, 15)),
        ({"issued_on": date(2025, 1, 15)}, date(2025, 7, 15)),
        ({"issued_on": date(2025, 1, 16)}, date(2025, 1, 15)),
        ({"tested_on": date(2024, 6, 30)}, date(2024, 12, 30)),
        ({"issued_on": date(2024, 8, 31)}, date(2025, 2, 28)),
        ({"due_on": date(2024, 5, 1)}, date(2024, 5, 1)),
        ({"due_on": date(2025, 5, 1)}, date(2024, 8, 1)),
        ({"tested_on": None}, None),
    ],
)
def test_how_long_a_test_holds(changes: dict[str, object], last: date | None) -> None:
    """29 CFR 1910.137: six months from issue, issued within twelve months of the test."""
    worn_on = date(2025, 2, 1) if changes.get("issued_on") else date(2024, 3, 1)
    assert last_day(pair(**changes), HERE, worn_on) == last


def test_the_last_day_counts_and_the_next_does_not() -> None:
    assert found(pair(), date(2024, 8, 1)) == []
    assert found(pair(), date(2024, 8, 2)) == ["gloves_out_of_date"]
    shelf = pair(issued_on=None)
    assert found(shelf, date(2025, 1, 15)) == []
    assert found(shelf, date(2025, 1, 16)) == ["gloves_out_of_date"]


def test_gloves_issued_later_were_not_yet_issued_when_they_were_worn() -> None:
    gloves = pair(issued_on=date(2024, 12, 1))
    assert last_day(gloves, HERE, date(2024, 11, 1)) == date(2025, 1, 15)


def test_a_test_after_the_day_proves_nothing_of_it() -> None:
    assert found(pair(), date(2024, 1, 14)) == ["gloves_tested_later"]
    assert found(pair(tested_on=None), date(2024, 3, 1)) == ["gloves_not_tested"]


def test_a_site_may_set_its_own_months() -> None:
    strict = DateRule(months_from_issue=3, months_shelf=6)
    assert found(pair(), date(2024, 5, 2), rule=strict) == ["gloves_out_of_date"]
    assert found(pair(), date(2024, 5, 1), rule=strict) == []
