"""Many packs at once: what `PackHistory` holds of one, in columns, the rows of a pack together."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from reports.trends import segments
from reports.trends.history import Bools, Floats, PackHistory
from reports.trends.segments import Counts


@dataclass(frozen=True, eq=False)
class Histories:
    """n packs, each told up to some day. See `PackHistory` for what a column means.

    key (n,) the number a pack is known by; group (n,) a place in `names`; positions, limit_v,
    entry_day, contact_day (n,). check_pack (c,) whose check it is, sorted; days, spread_v,
    temperature_c (c,), deviation_v (c, p) with p the most positions that any pack has, NaN beyond
    a pack's own. renewal_pack, renewal_days (r,), renewed (r, p), True beyond a pack's own.
    failure_pack, failure_days (f,). Checks, renewals and failures are sorted by pack, then day.
    """

    key: Counts
    names: tuple[str, ...]
    group: Counts
    positions: Counts
    limit_v: Floats
    entry_day: Floats
    contact_day: Floats
    check_pack: Counts
    days: Floats
    spread_v: Floats
    deviation_v: Floats
    temperature_c: Floats
    renewal_pack: Counts
    renewal_days: Floats
    renewed: Bools
    failure_pack: Counts
    failure_days: Floats

    def __post_init__(self) -> None:
        if not np.all(self.spread_v >= 0):
            raise ValueError("spread_v has a reading that is unknown or below zero.")
        if not np.all(self.limit_v > 0):
            raise ValueError("limit_v has one that is not above zero.")
        if not np.all(self.positions > 0):
            raise ValueError("A pack has at least one position; here is one that has none.")

    @property
    def size(self) -> int:
        """How many packs there are."""
        return int(self.key.size)

    @cached_property
    def check_edges(self) -> Counts:
        """First check of each pack, and the end of the last. (n + 1,)"""
        return segments.edges(self.check_pack, self.size)

    @cached_property
    def renewal_edges(self) -> Counts:
        """First renewal of each pack, and the end of the last. (n + 1,)"""
        return segments.edges(self.renewal_pack, self.size)

    def up_to(self, day: Floats) -> "Histories":
        """As they stood at the end of a day for each (n,): what is dated later is left out."""
        seen = self.days <= day[self.check_pack]
        changed = self.renewal_days <= day[self.renewal_pack]
        failed = self.failure_days <= day[self.failure_pack]
        cut = {name: getattr(self, name)[seen] for name in _OF_CHECKS}
        cut |= {name: getattr(self, name)[changed] for name in _OF_RENEWALS}
        cut |= {name: getattr(self, name)[failed] for name in _OF_FAILURES}
        kept: dict[str, Any] = {name: getattr(self, name) for name in self.__dataclass_fields__}
        return Histories(**(kept | cut | {"contact_day": np.minimum(self.contact_day, day)}))

    def one(self, place: int) -> PackHistory:
        """The pack at that place, by itself."""
        mine = slice(*self.check_edges[place : place + 2].tolist())
        changes = slice(*self.renewal_edges[place : place + 2].tolist())
        width = int(self.positions[place])
        return PackHistory(
            days=self.days[mine],
            spread_v=self.spread_v[mine],
            deviation_v=self.deviation_v[mine, :width],
            temperature_c=self.temperature_c[mine],
            renewal_days=self.renewal_days[changes],
            renewed=self.renewed[changes, :width],
            failure_days=self.failure_days[self.failure_pack == place],
            entry_day=float(self.entry_day[place]),
            contact_day=float(self.contact_day[place]),
            limit_v=float(self.limit_v[place]),
            group=self.names[int(self.group[place])],
        )


_OF_CHECKS = ("check_pack", "days", "spread_v", "deviation_v", "temperature_c")
_OF_RENEWALS = ("renewal_pack", "renewal_days", "renewed")
_OF_FAILURES = ("failure_pack", "failure_days")


def together(packs: Sequence[PackHistory], keys: Sequence[int] | None = None) -> Histories:
    """Histories of single packs, in columns; keys are their places unless given."""
    width = max((pack.positions for pack in packs), default=1)
    names = tuple(sorted({pack.group for pack in packs}))
    codes: Mapping[str, int] = {name: code for code, name in enumerate(names)}
    return Histories(
        key=np.array(range(len(packs)) if keys is None else keys, dtype=np.int_),
        names=names,
        group=np.array([codes[pack.group] for pack in packs], dtype=np.int_),
        positions=np.array([pack.positions for pack in packs], dtype=np.int_),
        limit_v=np.array([pack.limit_v for pack in packs], dtype=np.float64),
        entry_day=np.array([pack.entry_day for pack in packs], dtype=np.float64),
        contact_day=np.array([pack.contact_day for pack in packs], dtype=np.float64),
        check_pack=_owners([pack.days for pack in packs]),
        days=_joined([pack.days for pack in packs]),
        spread_v=_joined([pack.spread_v for pack in packs]),
        deviation_v=_widened([pack.deviation_v for pack in packs], width, np.nan),
        temperature_c=_joined([pack.temperature_c for pack in packs]),
        renewal_pack=_owners([pack.renewal_days for pack in packs]),
        renewal_days=_joined([pack.renewal_days for pack in packs]),
        renewed=_widened([pack.renewed for pack in packs], width, 1.0).astype(np.bool_),
        failure_pack=_owners([pack.failure_days for pack in packs]),
        failure_days=_joined([pack.failure_days for pack in packs]),
    )


def _owners(parts: Sequence[Floats]) -> Counts:
    return np.repeat(np.arange(len(parts)), np.array([part.size for part in parts], dtype=np.int_))


def _joined(parts: Sequence[Floats]) -> Floats:
    return np.concatenate([np.zeros(0), *parts])


def _widened(parts: Sequence[Floats] | Sequence[Bools], width: int, beyond: float) -> Floats:
    wide = np.full((sum(len(part) for part in parts), width), beyond)
    first = 0
    for part in parts:
        wide[first : first + len(part), : part.shape[1]] = part
        first += len(part)
    return wide
