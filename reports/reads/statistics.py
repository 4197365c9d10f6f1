"""What fits need of packs, as it is kept: which of it still stands, and the sums themselves."""

from collections.abc import Sequence
from datetime import datetime

import numpy as np

from packs.models import Pack
from packs.reads.types import Limits
from reports.models import PackStatistics
from reports.reads.among import Among
from reports.reads.arrays import fetched
from reports.reads.vantages import DAY_S, ratings
from reports.trends import statistics
from reports.trends.statistics import Statistics

KEPT = ("pack_id", "group", "builds", "landmarks", "followed", "figures")


def ratings_as_text(limits: Limits) -> str:
    """The ratings that sums are made against, exactly."""
    return " ".join(
        repr(value)
        for value in (
            limits.load_spread_limit_v,
            limits.rest_spread_limit_v,
            limits.reference_load_a,
            limits.reference_temperature_c,
        )
    )


def still_standing(
    numbers: Sequence[int], *, through: datetime, known_at: datetime | None
) -> set[int]:
    """Which of these packs have sums that a fit to the facts dated up to `through` can take.

    known_at: when the ratings were in force that it is made against; None for those of now.
    """
    packs = Pack.objects.filter(Among("pk", numbers)).values_list("pk", "pack_type_id", "revision")
    rows = PackStatistics.objects.filter(Among("pack_id", numbers))
    kept = {row[0]: row[1:] for row in rows.values_list("pk", "revision", "ratings", "last_day")}
    types = {pack_type for _, pack_type, _ in packs}
    limits = {
        number: ratings_as_text(told) for number, told in ratings(types, known_at=known_at).items()
    }
    day = through.timestamp() / DAY_S
    return {
        number
        for number, pack_type, revision in packs
        if number in kept
        and kept[number][:2] == (revision, limits[pack_type])
        and kept[number][2] <= day
    }


def kept(numbers: Sequence[int]) -> Statistics:
    """The sums kept of these packs, one row a pack; packs of which nothing is known left out."""
    if not numbers:
        return statistics.nothing()
    rows = PackStatistics.objects.filter(Among("pack_id", numbers)).exclude(group="").order_by("pk")
    found = fetched(rows.values_list(*KEPT))
    counts = np.array([row[2:5] for row in found], dtype=np.int_).reshape(-1, 3)
    return statistics.kept(
        [row[0] for row in found], [row[1] for row in found], counts, [row[5] for row in found]
    )
