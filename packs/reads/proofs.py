"""What was changed in a pack on a visit, and what its checks after the work prove."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q

from packs.models import LockOut, ReEnergising, SwapChange, Visit, VoltageCheck
from packs.reads import comparing
from packs.rules import proofs


@dataclass(frozen=True)
class Changed:
    """A swap that opened the string: when it was done, and what it changed, in words."""

    done_at: datetime
    what: str


def changes(visit: Visit) -> list[Changed]:
    """Swaps of modules, or of parts on the string, that count on the visit; in order of time.

    One that names no visit counts where it was done since this one was opened.
    """
    since = Q(swap__visit__isnull=True, swap__done_at__gte=visit.opened_at)
    rows = SwapChange.objects.filter(
        Q(swap__visit=visit) | since, swap__pack=visit.pack_id, swap__voided_at__isnull=True
    )
    named = rows.values_list("swap__done_at", "position", "slot").order_by("swap__done_at", "pk")
    return [
        Changed(done_at, f"Position {position}" if position else slot.replace("_", " "))
        for done_at, position, slot in named
        if position or proofs.on_the_string(slot)
    ]


def unlocked(
    made: Iterable[Changed], locked: Sequence[LockOut], ends: Sequence[ReEnergising]
) -> tuple[str, ...]:
    """By time, a sentence on what was changed while no lock-out is recorded."""
    ended = {end.lock_out_id: end.happened_at for end in ends}
    spans = [(one.happened_at, ended.get(one.pk)) for one in locked]
    bare: dict[datetime, list[str]] = {}
    for one in made:
        if not any(_within(one.done_at, *span) for span in spans):
            bare.setdefault(one.done_at, []).append(one.what)
    return tuple(_said(when, whats) for when, whats in bare.items())


def _within(when: datetime, begun: datetime, ended: datetime | None) -> bool:
    return begun <= when and (ended is None or when <= ended)


def _said(when: datetime, whats: Sequence[str]) -> str:
    told = ", ".join(whats)
    return (
        f"{told[0].upper()}{told[1:]} changed at {when.isoformat()}, and no lock-out is recorded "
        "for then: record it, with the time at which it was made, or correct the time of the swap."
    )


def telling(loads: Iterable[VoltageCheck], visit: Visit) -> list[VoltageCheck]:
    """Of checks under load, those at a current that tells of a repair."""
    assert visit.pack is not None
    reference_a = visit.pack.pack_type.reference_load_a
    return [one for one in loads if proofs.tells_under_load(one.current_a, reference_a)]


def over_limit(visit: Visit, rest: VoltageCheck | None, load: VoltageCheck | None) -> Iterator[str]:
    """A sentence on each spread after the work that is above the limit of the type."""
    assert visit.pack is not None
    kind = visit.pack.pack_type
    told = []
    if rest is not None:
        told.append(proofs.over_at_rest(rest.spread_v, kind.rest_spread_limit_v))
    if load is not None:
        load.pack = visit.pack
        brought = comparing.derive([load])[load.pk].spread_v
        told.append(
            proofs.over_under_load(
                brought,
                load.spread_v,
                load.current_a,
                kind.reference_load_a,
                kind.load_spread_limit_v,
            )
        )
    yield from (one for one in told if one)
