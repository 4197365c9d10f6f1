"""Qualifications: told as lapsed only where none stands."""

from datetime import date

from packs.rules.qualifications import lapsed_on

DAY, OLD, NEW = date(2026, 5, 2), "2026-01-31", "2027-01-31"


def test_only_who_has_nothing_but_expired_ones_has_lapsed() -> None:
    assert lapsed_on([{"level": "2", "expires_on": OLD}], DAY) == date(2026, 1, 31)
    for held in ([], [{"expires_on": None}], [{"expires_on": OLD}, {"expires_on": NEW}]):
        assert lapsed_on(held, DAY) is None
