"""What the database refuses of the bench's records, each tried past the product's rules."""

from collections.abc import Callable
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.db.models import Model

from packs.models import (
    Component,
    Disposal,
    DisposalLine,
    IsolationCheck,
    LockOut,
    Module,
    ModuleTest,
    PartTest,
    PlannedTest,
    PriceItem,
    Reassembly,
    ReEnergising,
    Release,
    TestSeries,
    Visit,
    WorkTime,
)
from tests import bench_rows, world
from tests.packs.models.test_invariants import pack as pack  # noqa: PLC0414  # a fixture
from tests.packs.models.test_invariants import refused
from tests.packs.models.test_invariants import rows as rows  # noqa: PLC0414  # a fixture

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("rows")]
EARLY = world.later(days=0.5)

BROKEN: list[tuple[type[Model], Callable[[], dict[str, Any]], dict[str, Any]]] = [
    (LockOut, bench_rows.lock_out, {"touch_limit_v": 60.5}),
    (LockOut, bench_rows.lock_out, {"touch_limit_v": 0.0}),
    (LockOut, bench_rows.lock_out, {"highest_v": 0.0}),
    (ReEnergising, bench_rows.ends, {}),
    (Reassembly, bench_rows.back, {"kind": "fitted"}),
    (Reassembly, bench_rows.back, {"kind": "half"}),
    (Reassembly, bench_rows.back, {"kind": "half", "half": 3, "half_v": 80.0}),
    (Reassembly, bench_rows.back, {"kind": "half", "half": 1}),
    (Reassembly, bench_rows.back, {"kind": "polarity", "half": 1, "half_v": 80.0}),
    (IsolationCheck, bench_rows.isolation, {"pack_v": 0.0}),
    (IsolationCheck, bench_rows.isolation, {"isolation_ohm": -1.0}),
    (Release, bench_rows.release, {}),
    (WorkTime, bench_rows.work_time, {"ended_at": EARLY}),
    (ModuleTest, bench_rows.module_test, {"ended_at": EARLY}),
    (PlannedTest, bench_rows.planned_test, {"due_at": EARLY}),
    (PartTest, bench_rows.part_test, {"slot": ""}),
    (PartTest, bench_rows.part_test, {"pack": None, "revision": None}),
    (Disposal, bench_rows.disposal, {"weight_kg": 0.0}),
    (PriceItem, bench_rows.price, {"code": "P-2", "price": -1}),
    (PriceItem, bench_rows.price, {"code": "P-2", "hours": -1}),
]
SOUND: list[tuple[type[Model], Callable[[], dict[str, Any]], dict[str, Any]]] = [
    (LockOut, bench_rows.lock_out, {"touch_limit_v": 60.0}),
    (Reassembly, bench_rows.back, {"kind": "half", "half": 2, "half_v": 80.0}),
    (IsolationCheck, bench_rows.isolation, {"isolation_ohm": 0.0}),
    (WorkTime, bench_rows.work_time, {"ended_at": None}),
    (ModuleTest, bench_rows.module_test, {}),
    (PlannedTest, bench_rows.planned_test, {}),
    (PartTest, bench_rows.part_test, {}),
    (Disposal, bench_rows.disposal, {}),
    (PriceItem, bench_rows.price, {"code": "P-2"}),
]


@pytest.mark.parametrize(("model", "columns", "changes"), BROKEN)
def test_what_cannot_be_is_refused(
    model: type[Model], columns: Callable[[], dict[str, Any]], changes: dict[str, Any]
) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        model._default_manager.create(**{**columns(), **changes})


@pytest.mark.parametrize(("model", "columns", "changes"), SOUND)
def test_what_can_be_is_taken(
    model: type[Model], columns: Callable[[], dict[str, Any]], changes: dict[str, Any]
) -> None:
    assert model._default_manager.create(**{**columns(), **changes}).pk


@pytest.mark.parametrize(("model", "columns"), [(ReEnergising, bench_rows.ends),
                                                (Release, bench_rows.release)])  # fmt: skip
def test_what_was_voided_makes_room_for_another(
    model: type[Model], columns: Callable[[], dict[str, Any]]
) -> None:
    void = {"voided_at": world.later(days=3), "void_reason": "other car"}
    model._default_manager.update(**void)
    assert model._default_manager.create(**columns()).pk


def test_one_thing_a_line_leaves() -> None:
    disposal = Disposal.objects.get()
    both = {"module": Module.objects.get(), "component": Component.objects.get()}
    for things in ({}, both):
        with pytest.raises(IntegrityError), transaction.atomic():
            DisposalLine.objects.create(disposal=disposal, **things)


def test_a_series_of_a_test_is_not_changed() -> None:
    refused("UPDATE packs_testseries SET points = 9")
    assert TestSeries.objects.get().points == 1


def test_a_visit_with_records_of_the_bench_is_kept() -> None:
    refused("DELETE FROM packs_visit WHERE id = %s", Visit.objects.get().pk)
