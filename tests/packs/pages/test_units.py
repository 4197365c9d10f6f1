"""Distances as the site likes them."""

import pytest

from packs.models import Site
from packs.pages.units import distance


@pytest.mark.parametrize(
    ("unit", "km", "said"),
    [
        ("km", 123400, "123\u202f400 km"),
        # The international mile is 1,609.344 m exactly (agreement of 1959; NIST SP 811, B.6).
        ("mi", 160934, "100\u202f000 mi"),
        ("km", 0, "0 km"),
        ("mi", None, ""),
    ],
)
def test_distances_have_their_unit(unit: str, km: int | None, said: str) -> None:
    assert distance(km, Site(distance=unit)) == said
