"""A car's stay in the shop: what it waits for, and its promise."""

from datetime import UTC, datetime, timedelta

import pytest

from packs.models import Visit
from packs.rules.stays import WAITS, promise_problem, waiting

CAME = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def test_each_reason_to_wait_has_its_words() -> None:
    assert set(WAITS) == set(Visit.WaitsFor.values)


@pytest.mark.parametrize(
    ("reason", "said"),
    [
        ("", "waits for nothing"),
        ("parts", "waits for parts"),
        ("owner", "waits for the owner’s word"),
        ("collection", "waits to be collected"),
    ],
)
def test_the_reason_in_a_sentence(reason: str, said: str) -> None:
    assert waiting(reason) == said


@pytest.mark.parametrize(
    ("days", "code"),
    [
        (-1, "promised_before_arrival"),
        (0, None),
        (730, None),
        (731, "promised_too_late"),
    ],
)
def test_a_promise_lies_within_two_years_of_arrival(days: int, code: str | None) -> None:
    problem = promise_problem(CAME + timedelta(days=days), CAME)
    assert (problem and problem[0]) == code
