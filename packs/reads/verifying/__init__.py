"""Walking the whole register for breaches of what must always hold, in bounded memory."""

from collections.abc import Callable, Iterator

from packs.models import Pack
from packs.reads.verifying import keys, places, readings, records
from packs.reads.verifying.breaches import Breach

__all__ = ["Breach", "breaches"]

SHARD = 200  # packs looked at together
Progress = Callable[[int], None]

OF_PACKS = (
    places.positions_whole,
    places.placements_follow_swaps,
    records.revisions_whole,
    readings.checks_hold,
)
OF_ALL = (
    places.one_place_at_a_time,
    places.modules_are_where_they_say,
    records.facts_are_lines,
    records.voids_say_why,
    records.told_once,
    records.types_hold,
    keys.keys_follow,
)


def breaches(*, progress: Progress | None = None) -> Iterator[Breach]:
    """Every breach there is; `progress` is told how many packs have been walked."""
    for look in OF_ALL:
        yield from look()
    after, done = 0, 0
    while packs := list(
        Pack.objects.select_related("pack_type").filter(pk__gt=after).order_by("pk")[:SHARD]
    ):
        after, done = packs[-1].pk, done + len(packs)
        for look_at in OF_PACKS:
            yield from look_at(packs)
        if progress is not None:
            progress(done)
