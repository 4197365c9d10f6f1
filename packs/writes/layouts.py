"""What a pack type says for the bench, held against its own modules and lists."""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from packs.errors import Fault
from packs.models import Component
from packs.rules.layouts import KEYS, Layout, kept, layout_of

STOCKED = frozenset({"module", *Component.Kinds.values})


def bench_of(entry: Mapping[str, Any]) -> dict[str, Any]:
    """The column `bench` for an entry that names its parts at the top, over what stood there."""
    stood: Mapping[str, Any] = entry.get("bench") or {}
    return kept(layout_of({**stood, **{name: entry[name] for name in KEYS if name in entry}}))


def layout_faults(bench: Mapping[str, Any], module_count: int) -> list[Fault]:
    """What contradicts the type or the layout itself."""
    layout = layout_of(bench)
    return [
        *_switch_faults(layout, module_count),
        *_position_faults(layout, module_count),
        *_slot_faults(layout),
        *_fastener_faults(layout),
        *_stock_faults(layout),
    ]


def _switch_faults(layout: Layout, count: int) -> Iterator[Fault]:
    after = layout.switch_after
    if after is not None and not 1 <= after < count:
        yield Fault(
            "/switch_after",
            "outside_the_string",
            f"The service switch parts {count} modules after number 1 to {count - 1}, not after "
            f"{after}; name the module that it follows.",
        )


def _position_faults(layout: Layout, count: int) -> Iterator[Fault]:
    for index, seat in enumerate(layout.positions):
        if not 1 <= seat.position <= count:
            yield Fault(
                f"/positions/{index}/position",
                "no_such_position",
                f"The type has positions 1 to {count}, not {seat.position}; name one of them.",
            )
    yield from _doubled("/positions", "position", [seat.position for seat in layout.positions])


def _slot_faults(layout: Layout) -> Iterator[Fault]:
    for index, slot in enumerate(layout.slots):
        if slot.kind not in Component.Kinds.values:
            yield Fault(
                f"/slots/{index}/kind",
                "unknown_kind",
                f"No part is a '{slot.kind}'; a slot takes one of: "
                f"{', '.join(Component.Kinds.values)}.",
            )
    yield from _doubled("/slots", "slot", [slot.slot for slot in layout.slots])


def _fastener_faults(layout: Layout) -> Iterator[Fault]:
    kinds = [fastener.kind for fastener in layout.fasteners]
    yield from _doubled("/fasteners", "kind", kinds)
    for index, torque in enumerate(layout.torques):
        if torque.fastener not in kinds:
            yield Fault(
                f"/torques/{index}/fastener",
                "fastener_not_listed",
                f"The type lists no fastener '{torque.fastener}'; list it under fasteners with "
                "its count, or correct the name.",
            )
    yield from _doubled("/torques", "fastener", [torque.fastener for torque in layout.torques])


def _stock_faults(layout: Layout) -> Iterator[Fault]:
    for name in layout.stock_minimum:
        if name not in STOCKED:
            yield Fault(
                f"/stock_minimum/{name}",
                "unknown_kind",
                f"Nothing in stock is a '{name}'; name 'module' or a kind of part: "
                f"{', '.join(Component.Kinds.values)}.",
            )


def _doubled(pointer: str, field: str, names: Iterable[Any]) -> Iterator[Fault]:
    seen: Counter[Any] = Counter()
    for index, name in enumerate(names):
        seen[name] += 1
        if seen[name] == 2:
            yield Fault(
                f"{pointer}/{index}/{field}",
                "named_twice",
                f"'{name}' is named twice; put both into one row.",
            )
