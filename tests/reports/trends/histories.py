"""Small histories written out by hand."""

from collections.abc import Sequence

import numpy as np

from reports.trends.history import Floats, PackHistory

POSITIONS = 5
ENTRY = 19000.0


def history(
    days: Sequence[float] | Floats,
    spread_v: Sequence[float] | Floats,
    *,
    deviation_v: Floats | None = None,
    temperature_c: float = 25.0,
    renewals: Sequence[tuple[float, Sequence[int]]] = (),
    failures: Sequence[float] = (),
    contact: float | None = None,
    limit_v: float = 1.0,
    group: str = "FIVE/load/block",
) -> PackHistory:
    """`days` after entry; by default position 2 makes the spread. `renewals`: (day, positions)."""
    when = ENTRY + np.array(days, dtype=np.float64)
    spread = np.array(spread_v, dtype=np.float64)
    if deviation_v is None:
        deviation_v = np.zeros((when.size, POSITIONS))
        deviation_v[:, 1] = spread
    renewed = np.zeros((len(renewals), POSITIONS), dtype=np.bool_)
    for row, (_, positions) in zip(renewed, renewals, strict=True):
        row[[each - 1 for each in positions]] = True
    last = max([0.0, *days, *(day for day, _ in renewals)]) if contact is None else contact
    return PackHistory(
        days=when,
        spread_v=spread,
        deviation_v=deviation_v,
        temperature_c=np.full(when.size, temperature_c),
        renewal_days=ENTRY + np.array([day for day, _ in renewals], dtype=np.float64),
        renewed=renewed,
        failure_days=ENTRY + np.array(failures, dtype=np.float64),
        entry_day=ENTRY,
        contact_day=ENTRY + last,
        limit_v=limit_v,
        group=group,
    )


ALL = tuple(range(1, POSITIONS + 1))
