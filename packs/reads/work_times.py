"""How long the stages of a job took."""

from collections.abc import Mapping

from django.db.models import QuerySet

from packs.models import Person, Visit, WorkTime
from packs.rules.identity import encode

SECONDS_PER_MINUTE = 60.0


def counted(visit: int) -> QuerySet[WorkTime]:
    """The times of a visit that count, in order."""
    rows = WorkTime.objects.filter(visit=visit, voided_at__isnull=True)
    return rows.select_related("done_by").order_by("started_at", "pk")


def running(doer: Person) -> QuerySet[WorkTime]:
    """Clocks of a person that run, on whatever visit."""
    rows = WorkTime.objects.filter(done_by=doer, ended_at__isnull=True, voided_at__isnull=True)
    return rows.order_by("started_at", "pk")


def minutes_by_stage(visit: int) -> Mapping[str, float]:
    """Minutes of each stage that have been stopped; a clock that runs is in no sum."""
    sums: dict[str, float] = {}
    for row in counted(visit):
        spent = minutes(row)
        if spent is not None:
            sums[row.stage] = sums.get(row.stage, 0.0) + spent
    return sums


def minutes(row: WorkTime) -> float | None:
    """How long it took; None while the clock runs."""
    if row.ended_at is None:
        return None
    return (row.ended_at - row.started_at).total_seconds() / SECONDS_PER_MINUTE


def key(row: WorkTime) -> str:
    """The id of a time, as the API gives it."""
    return encode(WorkTime.PREFIX, row.pk)


def visit_key(row: WorkTime) -> str:
    """The id of the visit of a time."""
    return encode(Visit.PREFIX, row.visit_id)
