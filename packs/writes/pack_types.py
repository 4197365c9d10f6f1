"""Pack types: what a pack is made of, held to its own arithmetic, and its ratings by version."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from django.db import transaction

from packs.errors import Contradiction, Fault
from packs.models import RATINGS, Pack, PackType, PackTypeVersion
from packs.models.types import REFERENCE_TEMPERATURE_C, REST_CURRENT_MAX_A
from packs.rules import arithmetic
from packs.rules.layouts import KEYS
from packs.writes.actors import Actor
from packs.writes.keeping import change, keep
from packs.writes.layouts import bench_of, layout_faults
from packs.writes.recording import Outcome

MADE_OF = ("chemistry", "module_count", "cells_per_module", "cell_nominal_v")


def create_pack_type(*, by: Actor, at: datetime, entry: Mapping[str, Any]) -> Outcome[PackType]:
    """Store a type and its first version; `entry` holds its fields by their names in the API."""
    blocks = _blocks(entry)
    content = {
        **{name: entry[name] for name in MADE_OF},
        "cells_in_parallel": _or(entry, "cells_in_parallel", 1),
        "blocks": list(blocks),
        **_ratings(entry),
    }
    beside: dict[str, Any] = {"block_count": len(blocks)}
    if not content["bench"]:  # what was sent before there was any is still the same content
        beside["bench"] = content.pop("bench")
    faults = [*_nominal_faults(entry), *_rating_faults(content)]
    if faults:
        raise Contradiction(faults)
    with transaction.atomic():
        outcome = keep(
            PackType,
            by=by,
            at=at,
            key={"code": entry["code"]},
            content=content,
            beside=beside,
        )
        if outcome.created:
            _append_version(outcome.row, at=at)
    return outcome


def change_pack_type(
    row: PackType, *, by: Actor, at: datetime, version: int, changes: Mapping[str, Any]
) -> PackType:
    """Store other ratings as a new version; every pack of the type is then owed an estimate."""
    ratings = _ratings({**{name: getattr(row, name) for name in RATINGS}, **changes})
    columns = {"bench" if name in KEYS else name for name in changes}
    made_of = {name: getattr(row, name) for name in (*MADE_OF, "blocks")}
    faults = _rating_faults({**made_of, **ratings})
    if faults:
        raise Contradiction(faults)
    with transaction.atomic():
        changed = change(
            row,
            by=by,
            at=at,
            version=version,
            key=row.code,
            changes={name: ratings[name] for name in sorted(columns)},
        )
        _append_version(changed, at=at)
        Pack.objects.filter(pack_type=changed).update(estimate_due_at=at)
    return changed


def _append_version(row: PackType, *, at: datetime) -> None:
    ratings = {name: getattr(row, name) for name in RATINGS}
    PackTypeVersion.objects.create(pack_type=row, number=row.version, recorded_at=at, **ratings)


def _or(entry: Mapping[str, Any], name: str, otherwise: Any) -> Any:
    """What was said, or `otherwise` where it is null or left out."""
    said = entry.get(name)
    return otherwise if said is None else said


def _ratings(entry: Mapping[str, Any]) -> dict[str, Any]:
    return {
        **{name: entry.get(name) for name in RATINGS},
        "bench": bench_of(entry),
        "reference_temperature_c": _or(entry, "reference_temperature_c", REFERENCE_TEMPERATURE_C),
        "limits_source": _or(entry, "limits_source", ""),
        "rest_current_max_a": _or(entry, "rest_current_max_a", REST_CURRENT_MAX_A),
    }


def _blocks(entry: Mapping[str, Any]) -> tuple[int, ...]:
    """Modules in each block, as listed or as divided; both where they agree."""
    count, listed, each = entry["module_count"], entry.get("blocks"), entry.get("modules_per_block")
    pointer = "/blocks" if listed is not None else "/modules_per_block"
    try:
        blocks = arithmetic.block_sizes(count, 1 if each is None else each, listed)
    except ValueError as error:
        raise Contradiction.at(pointer, "blocks_do_not_add_up", str(error)) from error
    if listed is not None and each is not None and set(blocks) != {each}:
        raise Contradiction.at(
            "/modules_per_block",
            "blocks_disagree",
            f"modules_per_block is {each}, but blocks lists {listed}; leave one of them out.",
        )
    return blocks


def _nominal_faults(entry: Mapping[str, Any]) -> list[Fault]:
    """A said nominal voltage must be that of the cells."""
    said = entry.get("nominal_v")
    parts = entry["module_count"], entry["cells_per_module"], entry["cell_nominal_v"]
    nominal = arithmetic.nominal_v(*parts)
    if said is None or not arithmetic.disagrees(said, nominal):
        return []
    return [
        Fault(
            "/nominal_v",
            "nominal_disagrees",
            f"nominal_v is given as {said:g} V, but {parts[0]} modules of {parts[1]} cells of "
            f"{parts[2]:g} V are {nominal:.6g} V; correct the voltage or the counts.",
        )
    ]


def _rating_faults(content: Mapping[str, Any]) -> list[Fault]:
    faults = [
        *_order_faults(content),
        *layout_faults(content.get("bench") or {}, content["module_count"]),
    ]
    highest, nominal = content["max_cell_v"], content["cell_nominal_v"]
    if highest is not None and highest < nominal:
        faults.append(
            Fault(
                "/max_cell_v",
                "below_nominal",
                f"max_cell_v is {highest:g} V, below the nominal {nominal:g} V of the same cell; "
                "give the highest voltage that a cell can have.",
            )
        )
    return faults


def _order_faults(content: Mapping[str, Any]) -> list[Fault]:
    """The car's numbers must name each position of one level once."""
    order: Sequence[int] | None = content["monitor_order"]
    modules = content["module_count"]
    counts = (len(content["blocks"]), modules, modules * content["cells_per_module"])
    if order is None or (len(order) in counts and sorted(order) == list(range(1, len(order) + 1))):
        return []
    return [
        Fault(
            "/monitor_order",
            "not_an_order",
            f"monitor_order must name each position once, from 1 to {counts[0]} (blocks), "
            f"{counts[1]} (modules) or {counts[2]} (cells): the position that the car numbers "
            "first, then the second, and so on.",
        )
    ]
