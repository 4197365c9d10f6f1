"""The queue of tests: what waits, what runs late, and what was done."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Case, CharField, Exists, OuterRef, QuerySet, Value, When

from packs.models import Module, ModuleTest, PlannedTest

WAITING, OVERDUE, DONE = STATES = ("waiting", "overdue", "done")
SOON = 20  # tests done that are shown below the queue


@dataclass(frozen=True)
class Queue:
    """What is overdue, what waits, and what was done last, each in order of when it is due."""

    overdue: tuple[PlannedTest, ...]
    waiting: tuple[PlannedTest, ...]
    done: tuple[PlannedTest, ...]
    on_test: tuple[Module, ...]


def rows(*, at: datetime) -> QuerySet[Any]:
    """Planned tests with how they stand: `state` is waiting, overdue or done."""
    made = ModuleTest.objects.filter(
        module=OuterRef("module"),
        kind=OuterRef("kind"),
        voided_at__isnull=True,
        started_at__gte=OuterRef("planned_at"),
    )
    state = Case(
        When(Exists(made), then=Value(DONE)),
        When(due_at__lt=at, then=Value(OVERDUE)),
        default=Value(WAITING),
        output_field=CharField(),
    )
    related = ("module", "equipment", "visit", "done_by", "client")
    return PlannedTest.objects.select_related(*related).annotate(state=state)


def queue(*, at: datetime) -> Queue:
    """The queue as it stands."""
    standing = rows(at=at).filter(voided_at__isnull=True).order_by("due_at", "pk")
    open_ones = list(standing.exclude(state=DONE))
    done = standing.filter(state=DONE).order_by("-due_at", "-pk")[:SOON]
    on_test = Module.objects.filter(status=Module.Status.ON_TEST).order_by("tag")
    return Queue(
        overdue=tuple(one for one in open_ones if one.state == OVERDUE),
        waiting=tuple(one for one in open_ones if one.state == WAITING),
        done=tuple(done),
        on_test=tuple(on_test),
    )


def for_module(module: Module, *, at: datetime) -> list[PlannedTest]:
    """What a module waits for."""
    standing = rows(at=at).filter(module=module, voided_at__isnull=True)
    return list(standing.exclude(state=DONE).order_by("due_at", "pk"))
