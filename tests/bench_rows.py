"""One row of every table of the bench, made without the product's rules."""

from typing import Any

from django.db.models import Model

from packs.models import (
    Component,
    Disposal,
    DisposalLine,
    Equipment,
    Incident,
    IsolationCheck,
    LockOut,
    Matching,
    Module,
    ModuleTest,
    Pack,
    PartTest,
    Person,
    PlannedTest,
    PriceItem,
    Reassembly,
    ReEnergising,
    Release,
    ShippingDecision,
    Teardown,
    TestSeries,
    Visit,
    VoltageCheck,
    WorkTime,
)
from tests import world

FACTS: tuple[type[Model], ...] = (
    LockOut, ReEnergising, Teardown, Reassembly, IsolationCheck, Release, WorkTime, Incident,
    ModuleTest, PlannedTest, PartTest, Matching, Disposal, ShippingDecision,
)  # fmt: skip
LINES: tuple[type[Model], ...] = (DisposalLine,)
KEPT: tuple[type[Model], ...] = (Component, PriceItem, TestSeries)


def make() -> None:
    """The rows; of a pack, a visit, a check, a module, a person and a tool that are there."""
    for group in (_things, _steps, _tests, _leaving):
        for model, content in group():
            model._default_manager.create(**content)
    DisposalLine.objects.create(disposal=Disposal.objects.get(), module=Module.objects.get())
    TestSeries.objects.create(test=ModuleTest.objects.get(), points=1, packed=b"-")


def fact() -> dict[str, Any]:
    """What every fact about the pack carries."""
    return {**world.posted(b"-"), "pack": Pack.objects.get(), "revision": 2}


def step() -> dict[str, Any]:
    """What every step of the job carries."""
    return {**fact(), "visit": Visit.objects.get(), "happened_at": world.later(days=1)}


def lock_out() -> dict[str, Any]:
    """The columns of a lock-out."""
    tool, kim = Equipment.objects.get(), Person.objects.get()
    volts = {"source_before_v": 12.0, "source_after_v": 12.0, "touch_limit_v": 50.0}
    named = {"meter": tool, "gloves": tool, "switch_kept_by": kim}
    return {**step(), **volts, **named, "waited_min": 10.0, "highest_v": 172.8}


def isolation() -> dict[str, Any]:
    """The columns of an isolation check."""
    said = {"scope": "pack_alone", "method": "tester", "pack_v": 220.0, "isolation_ohm": 1e6}
    return {**step(), **said}


def release() -> dict[str, Any]:
    """The columns of a release."""
    check = VoltageCheck.objects.get()
    rests = {"rest_check": check, "load_check": check, "codes_clear": True}
    return {**step(), **rests, "recheck_on": world.later(days=30).date()}


def work_time() -> dict[str, Any]:
    """The columns of a time that has ended."""
    span = {"started_at": world.later(days=1), "ended_at": world.later(days=2)}
    return {**fact(), **span, "visit": Visit.objects.get(), "stage": "tests"}


def module_test() -> dict[str, Any]:
    """The columns of a test of a module."""
    span = {"started_at": world.later(days=1), "ended_at": world.later(days=2)}
    return {**fact(), **span, "module": Module.objects.get(), "kind": "capacity"}


def planned_test() -> dict[str, Any]:
    """The columns of a test that is planned."""
    span = {"planned_at": world.later(days=1), "due_at": world.later(days=2)}
    return {**fact(), **span, "module": Module.objects.get(), "kind": "stand"}


def disposal() -> dict[str, Any]:
    """The columns of a disposal."""
    return {**fact(), "happened_at": world.later(days=1), "recycler": "R", "weight_kg": 1.0}


def price() -> dict[str, Any]:
    """The columns of a line of the shop's list."""
    return {**world.posted(b"-"), "code": "P-1", "what": "module", "kind": "module", "price": 1}


def part_test() -> dict[str, Any]:
    """The columns of a test of a part in its slot."""
    return {**step(), "slot": "fuse", "kind": "fuse"}


def ends() -> dict[str, Any]:
    """The columns of the end of the lock-out that is there."""
    return {**step(), "lock_out": LockOut.objects.get()}


def back() -> dict[str, Any]:
    """The columns of a step of the reassembly."""
    return {**ends(), "starts_build": False}


def _things() -> list[tuple[type[Model], dict[str, Any]]]:
    component = {**world.posted(b"-"), "tag": "C-1", "kind": "fuse"}
    return [(Component, component), (PriceItem, price()), (LockOut, lock_out())]


def _steps() -> list[tuple[type[Model], dict[str, Any]]]:
    return [
        (ReEnergising, ends()),
        (Teardown, {**ends(), "part": "cover"}),
        (Reassembly, {**back(), "kind": "fitted", "part": "cover"}),
        (IsolationCheck, isolation()),
        (Release, release()),
        (WorkTime, work_time()),
        (Incident, {**step(), "kind": "near_miss", "harm": "none", "what": "a spanner fell"}),
    ]


def _tests() -> list[tuple[type[Model], dict[str, Any]]]:
    return [(ModuleTest, module_test()), (PlannedTest, planned_test()), (PartTest, part_test())]


def _leaving() -> list[tuple[type[Model], dict[str, Any]]]:
    decided = {"condition": "sound", "un_number": "UN 3480", "qualification": "Q", "reasons": "R"}
    return [
        (Matching, step()),
        (Disposal, disposal()),
        (ShippingDecision, {**step(), **decided}),
    ]
