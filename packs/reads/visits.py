"""One visit with what was said and written down on it."""

from dataclasses import dataclass

from packs.models import Call, Consent, Customer, Installation, TroubleCode, Vehicle, Visit
from packs.reads import claims, names
from packs.reads.claims import Covered


@dataclass(frozen=True)
class VisitPage:
    """A visit, the car it is about, and what hangs on it, the newest first.

    `vehicle` is the visit's own, else the one that its pack sits in now.
    """

    visit: Visit
    vehicle: Vehicle | None
    owner: Customer | None
    codes: tuple[TroubleCode, ...]
    consents: tuple[Consent, ...]
    calls: tuple[Call, ...]
    covered: tuple[Covered, ...]

    @property
    def agreed(self) -> bool:
        """Whether the owner's last word to the work of the visit was yes."""
        word = next((row for row in self.consents if row.about == Consent.About.INTAKE), None)
        return word is not None and word.given


def gather(row: Visit, *, with_owner: bool) -> VisitPage:
    """What stands of a visit; its owner only for who may see customers."""
    vehicle = row.vehicle or _carrying(row)
    codes = TroubleCode.objects.filter(visit=row, voided_at__isnull=True)
    consents = Consent.objects.filter(visit=row, voided_at__isnull=True)
    calls = Call.objects.filter(visit=row, voided_at__isnull=True)
    return VisitPage(
        visit=row,
        vehicle=vehicle,
        owner=vehicle.customer if vehicle and with_owner else None,
        codes=tuple(codes.order_by("control_unit", "code", "pk")),
        consents=tuple(consents.order_by("-happened_at", "-pk")),
        calls=tuple(calls.order_by("-happened_at", "-pk")),
        covered=claims.of_visit(row),
    )


def word_to_intake(row: Visit) -> Consent | None:
    """What the owner said last to the work of the visit."""
    rows = Consent.objects.filter(visit=row, voided_at__isnull=True, about=Consent.About.INTAKE)
    return rows.order_by("-happened_at", "-pk").first()


def name_of(row: Visit) -> str:
    """By what the desk calls it."""
    if row.vehicle is not None:
        return row.vehicle.plate or row.vehicle.vin
    assert row.pack is not None
    return row.pack.serial


def addressed(key: str) -> Visit:
    """The visit with that id; NotFound where there is none."""
    return names.addressed(Visit.objects.select_related("vehicle__customer", "pack"), key)


def _carrying(row: Visit) -> Vehicle | None:
    sat = Installation.objects.select_related("vehicle__customer").filter(
        pack=row.pack_id, voided_at__isnull=True, removed_at__isnull=True
    )
    found = sat.order_by("-installed_at", "-pk").first() if row.pack_id else None
    return None if found is None else found.vehicle
