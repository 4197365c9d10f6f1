"""Recording what went to a recycler: modules and parts, by weight, each once."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any

from django.db import transaction

from packs.errors import Conflict, Contradiction, Fault
from packs.models import Component, Disposal, DisposalLine, Module
from packs.writes.actors import Actor
from packs.writes.component_places import locked as locked_parts
from packs.writes.keeping import change_all
from packs.writes.recording import Outcome, said
from packs.writes.visit_facts import future_faults, instant, record_alone

STAYS = {"fitted": "sits in a pack; record the swap that takes it out first",
         "reserved": "is reserved for a job; release it first"}  # fmt: skip
SCRAPPED = "scrapped"


def record_disposal(*, by: Actor, at: datetime, entry: Mapping[str, Any]) -> Outcome[Disposal]:
    """Store that these left the shop for good; they are scrapped with it.

    `entry` holds its fields by their names in the API. Raises Conflict for what sits in a pack, is
    kept for a job, or left before.
    """
    happened_at = instant(Disposal, entry, by=by, at=at)
    faults = future_faults(happened_at, "/at", at=at) + _named_faults(entry)
    if faults:
        raise Contradiction(faults)
    tags = {name: sorted(entry.get(name) or ()) for name in ("modules", "components")}
    told = said(Disposal, entry, beside=tags)
    content = {
        "happened_at": happened_at,
        "recycler": entry["recycler"],
        "reference": entry.get("reference") or "",
        "weight_kg": float(entry["weight_kg"]),
        "note": entry.get("note") or "",
    }

    def hang(disposal: Disposal) -> None:
        _scrap(disposal, entry, by=by, at=at)

    with transaction.atomic():
        return record_alone(Disposal, content, told, by=by, at=at, then=hang)


def _named_faults(entry: Mapping[str, Any]) -> list[Fault]:
    faults = []
    for name in ("modules", "components"):
        tags = entry.get(name) or []
        for place, tag in enumerate(tags):
            if tag in tags[:place]:
                sentence = f"'{tag}' stands here twice; each leaves once."
                faults.append(Fault(f"/{name}/{place}", "named_twice", sentence))
    if not (entry.get("modules") or entry.get("components")):
        sentence = "Name at least one module or part that leaves, by its tag."
        faults.append(Fault("/modules", "nothing_leaves", sentence))
    return faults


def _scrap(disposal: Disposal, entry: Mapping[str, Any], *, by: Actor, at: datetime) -> None:
    """Write the lines and scrap what they name, held until the transaction ends."""
    tags, parts = list(entry.get("modules") or ()), list(entry.get("components") or ())
    held = Module.objects.select_for_update(no_key=True).filter(tag__in=tags).order_by("pk")
    modules = {row.tag: row for row in held}
    components = dict(locked_parts(parts))
    unknown = [*_unknown("modules", tags, modules), *_unknown("components", parts, components)]
    if unknown:
        raise Contradiction(unknown)
    left = _left(modules, components)
    faults = [*_kept("modules", tags, modules, left), *_kept("components", parts, components, left)]
    if faults:
        raise Conflict(faults)
    reason = f"to {disposal.recycler} {disposal.reference}".strip()
    changes = {"status": SCRAPPED, "status_reason": reason}
    change_all(list(modules.values()), by=by, at=at, key="tag", changes=changes)
    change_all(list(components.values()), by=by, at=at, key="tag", changes=changes)
    DisposalLine.objects.bulk_create(
        [
            *(DisposalLine(disposal=disposal, module=modules[tag]) for tag in tags),
            *(DisposalLine(disposal=disposal, component=components[tag]) for tag in parts),
        ]
    )


def _unknown(name: str, tags: Sequence[str], found: Mapping[str, Any]) -> Iterator[Fault]:
    noun = name.removesuffix("s")
    for place, tag in enumerate(tags):
        if tag not in found:
            sentence = f"No {noun} '{tag}' is recorded; correct the tag, or record it first."
            yield Fault(f"/{name}/{place}", f"unknown_{noun}", sentence)


def _left(
    modules: Mapping[str, Module], components: Mapping[str, Component]
) -> frozenset[tuple[str, str]]:
    """What left by a disposal that stands."""
    lines = DisposalLine.objects.filter(disposal__voided_at__isnull=True)
    gone = lines.filter(module__in=list(modules.values())).values_list("module__tag", flat=True)
    parts = lines.filter(component__in=list(components.values()))
    told = parts.values_list("component__tag", flat=True)
    return frozenset([*(("modules", tag) for tag in gone), *(("components", tag) for tag in told)])


def _kept(
    name: str,
    tags: Sequence[str],
    found: Mapping[str, Module] | Mapping[str, Component],
    left: frozenset[tuple[str, str]],
) -> Iterator[Fault]:
    """What can not leave, and why."""
    noun = name.removesuffix("s")
    for place, tag in enumerate(tags):
        status = found[tag].status
        if (name, tag) in left:
            sentence = f"'{tag}' left with an earlier disposal; take it off this list."
            yield Fault(f"/{name}/{place}", f"{noun}_left", sentence)
        elif status in STAYS:
            yield Fault(f"/{name}/{place}", f"{noun}_{status}", f"'{tag}' {STAYS[status]}.")
