"""Which way round modules lie: as they were seen, and as the type says."""

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from packs.rules.layouts import Layout


def listed(layout: Layout) -> dict[int, str]:
    """The way round of each position that the type lists."""
    return {seat.position: seat.orientation for seat in layout.positions}


def seen_otherwise(layout: Layout, seen: Iterable[Mapping[str, Any]]) -> Iterator[str]:
    """What to do about each position that was seen another way round than the type says."""
    asked = listed(layout)
    for row in seen:
        position, now = row["position"], row.get("orientation")
        wanted = asked.get(position)
        if now and wanted and now != wanted:
            yield (
                f"Position {position} was seen '{now}', and the type says '{wanted}'; look before "
                "it goes back."
            )
