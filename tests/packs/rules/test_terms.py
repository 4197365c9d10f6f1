"""When a promise ends: calendar months, and kilometres carried from car to car."""

from datetime import date

import pytest

from packs.rules.terms import add_months, carried_km


@pytest.mark.parametrize(
    ("day", "months", "expected"),
    [
        (date(2025, 1, 31), 1, date(2025, 2, 28)),
        (date(2024, 1, 31), 1, date(2024, 2, 29)),
        (date(2024, 2, 29), 12, date(2025, 2, 28)),
        (date(2024, 12, 15), 1, date(2025, 1, 15)),
        (date(2024, 3, 31), 18, date(2025, 9, 30)),
        (date(2024, 3, 1), 0, date(2024, 3, 1)),
    ],
)
def test_calendar_months(day: date, months: int, expected: date) -> None:
    assert add_months(day, months) == expected


def test_kilometres_go_with_the_pack_from_car_to_car() -> None:
    assert carried_km([]) == 0
    assert carried_km([(90_000, None)]) == 0
    assert carried_km([(90_000, 95_000), (20_000, None)]) == -75_000
    assert carried_km([(90_000, 95_000), (20_000, 21_000), (50_000, None)]) == -46_000


def test_an_odometer_nobody_wrote_down() -> None:
    assert carried_km([(90_000, None), (20_000, None)]) is None
    assert carried_km([(90_000, 95_000), (None, None)]) is None
