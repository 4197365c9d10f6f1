"""What was claimed on a visit, and under which promises it could be."""

from dataclasses import dataclass

from django.db.models import QuerySet

from packs.models import Claim, Visit
from packs.reads import arrivals
from packs.reads.arrivals import Promise


@dataclass(frozen=True)
class Covered:
    """A warranty as it stood when the visit began, and the claim under it made on the visit."""

    promise: Promise
    claim: Claim | None


def of_visit(visit: Visit) -> tuple[Covered, ...]:
    """The warranties of the visit's pack that ran or had ended, each with its claim."""
    if visit.pack is None:
        return ()
    by_warranty = {row.warranty_id: row for row in standing(visit)}
    promises = arrivals.promises(visit.pack, at=visit.opened_at, odometer_km=visit.odometer_km)
    return tuple(Covered(row, by_warranty.get(row.warranty.pk)) for row in promises)


def standing(visit: Visit) -> QuerySet[Claim]:
    """The claims of the visit that count, the newest last."""
    rows = Claim.objects.select_related("warranty").filter(visit=visit, voided_at__isnull=True)
    return rows.order_by("recorded_at", "pk")
