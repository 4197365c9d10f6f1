"""Fasteners out and back by kind: what was taken out of a pack goes back in, all of it."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from packs.rules.layouts import Fastener

TORQUE_SHARE = 0.10
"""How far a torque may be off the type's, as a share of it, before it is told. Common practice,
no source."""


@dataclass(frozen=True)
class Tally:
    """One kind: how many the type has (None: not said), how many came out and went back."""

    kind: str
    part: str
    listed: int | None
    loose: bool
    out: int
    back: int

    @property
    def left(self) -> int:
        """Those that are out now; below zero, more went in than came out."""
        return self.out - self.back

    @property
    def said(self) -> str:
        """What is still out, or that nothing is."""
        if self.left <= 0:
            return f"{self.kind}: all {self.back} back."
        where = "look for it in the case" if self.left == 1 else "look for them in the case"
        loose = f" Loose: {where} before it is closed." if self.loose else ""
        return f"{self.kind}: {self.back} of {self.out} back, {self.left} left.{loose}"


def tally(
    listed: Sequence[Fastener],
    out: Iterable[tuple[str, int]],
    back: Iterable[tuple[str, int]],
) -> tuple[Tally, ...]:
    """Every kind that the type lists, in its order, then those that it does not list."""
    came, went = _sums(out), _sums(back)
    known = {fastener.kind: fastener for fastener in listed}
    others = sorted({*came, *went} - set(known))
    rows = [
        Tally(kind, row.part, row.count, row.loose, came[kind], went[kind])
        for kind, row in known.items()
    ]
    return (*rows, *(Tally(kind, "other", None, False, came[kind], went[kind]) for kind in others))


def is_off(torque_nm: float, listed_nm: float) -> bool:
    """Whether a torque is further off the type's than TORQUE_SHARE (both N·m)."""
    return abs(torque_nm - listed_nm) > TORQUE_SHARE * listed_nm * (1 + 1e-9)


def _sums(rows: Iterable[tuple[str, int]]) -> Counter[str]:
    sums: Counter[str] = Counter()
    for kind, count in rows:
        sums[kind] += count
    return sums
