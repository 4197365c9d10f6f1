"""Planning tests of modules, and taking modules on and off the testers."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from packs.errors import Conflict, Contradiction
from packs.models import Module, ModuleTest, PlannedTest
from packs.reads import lithium, names
from packs.writes.actors import Actor
from packs.writes.modules import change_module
from packs.writes.recording import Outcome, said
from packs.writes.visit_facts import future_faults, record_alone

FREE = frozenset({Module.Status.STOCK})


def plan_test(*, by: Actor, at: datetime, entry: Mapping[str, Any]) -> Outcome[PlannedTest]:
    """Store that a module waits for a test; without `planned_at` it is planned now."""
    module = names.module(entry["module"], "/module")
    assert module is not None
    planned_at, due_at = _planned_at(entry, by=by, at=at), entry["due_at"]
    faults = future_faults(planned_at, "/planned_at", at=at)
    if faults:
        raise Contradiction(faults)
    if due_at < planned_at:
        sentence = "due_at is before it was planned; give a time to come."
        raise Contradiction.at("/due_at", "due_before_planned", sentence)
    if module.status == Module.Status.SCRAPPED:
        sentence = f"Module {module.tag} is scrapped; nothing is tested of it any more."
        raise Conflict.at("/module", "module_scrapped", sentence)
    if entry["kind"] == ModuleTest.Kinds.CAPACITY:
        refuse_charge(module)
    return record_alone(
        PlannedTest,
        {
            "module": module,
            "kind": str(entry["kind"]),
            "channel": entry.get("channel") or "",
            "equipment": names.equipment(entry.get("equipment")),
            "visit": names.visit(entry.get("visit")),
            "planned_at": planned_at,
            "due_at": due_at,
            "note": entry.get("note") or "",
        },
        said(PlannedTest, entry),
        by=by,
        at=at,
    )


def refuse_charge(module: Module) -> None:
    """Raise Conflict for a module whose cells were read too low to be charged again."""
    refusal = lithium.charge_refusal(module)
    if refusal is not None:
        raise Conflict.at("/module", "not_to_be_charged", refusal)


def _planned_at(entry: Mapping[str, Any], *, by: Actor, at: datetime) -> datetime:
    """As told, else as of the one sent before under its id, else now: sent again it is the same."""
    told: datetime | None = entry.get("planned_at")
    name = entry.get("external_id")
    if told is not None or name is None:
        return told or at
    rows = PlannedTest.objects.filter(client=by.client, external_id=name)
    return rows.values_list("planned_at", flat=True).first() or at


def put_on(module: Module, *, by: Actor, at: datetime) -> Module:
    """The module is on a tester now; raises Conflict for one that is not free for it."""
    if module.status == Module.Status.ON_TEST:
        return module
    if module.status not in FREE:
        sentence = (
            f"Module {module.tag} is {module.get_status_display().lower()} and stays so; "
            "its test is recorded all the same."
        )
        raise Conflict.at("/module", "module_not_free", sentence)
    changes = {"status": str(Module.Status.ON_TEST)}
    return change_module(module, by=by, at=at, version=module.version, changes=changes)


def take_off(module: Module, *, by: Actor, at: datetime) -> Module:
    """The module is back in stock; one that was on no tester stays as it is."""
    if module.status != Module.Status.ON_TEST:
        return module
    changes = {"status": str(Module.Status.STOCK)}
    return change_module(module, by=by, at=at, version=module.version, changes=changes)
