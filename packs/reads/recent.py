"""What was in hand last: packs by their last contact, and cars that came without a known pack."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from operator import attrgetter

from packs.models import Installation, Pack, Visit
from packs.rules.stays import waiting

LAST_SEEN = 8  # that the box and the first page remind of
STATES = {
    Visit.State.OPEN: "in the shop",
    Visit.State.WAITING: "waits",
    Visit.State.READY: "ready",
    Visit.State.CLOSED: "gone again",
}


@dataclass(frozen=True)
class Seen:
    """A car or a pack that was here: `car` is its plate, or VIN; `serial` is empty if unknown."""

    at: datetime
    car: str
    serial: str
    what: str
    state: str
    link: str


def last_seen() -> list[Seen]:
    """The cars and packs seen last, the newest first; no name of an owner among them."""
    rows = Pack.objects.filter(last_contact__isnull=False).select_related("pack_type")
    packs = list(rows.order_by("-last_contact", "-pk")[:LAST_SEEN])
    seen = sorted([*_packs(packs), *_cars()], key=attrgetter("at"), reverse=True)
    newest: dict[str, Seen] = {}
    for one in seen:
        newest.setdefault(one.car or one.serial, one)
    return list(newest.values())[:LAST_SEEN]


def _packs(packs: Sequence[Pack]) -> Iterator[Seen]:
    present = Installation.objects.filter(
        pack__in=packs, voided_at__isnull=True, removed_at__isnull=True
    )
    columns = ("pack", "vehicle__plate", "vehicle__vin")
    cars = {pack: plate or vin for pack, plate, vin in present.values_list(*columns)}
    here = Visit.objects.filter(pack__in=packs).exclude(state=Visit.State.CLOSED)
    visits = {visit.pack_id: visit for visit in here.order_by("opened_at", "pk")}
    for pack in packs:
        assert pack.last_contact is not None
        visit = visits.get(pack.pk)
        yield Seen(
            at=pack.last_contact,
            car=cars.get(pack.pk, ""),
            serial=pack.serial,
            what=pack.pack_type.name,
            state=pack.get_status_display().lower() if visit is None else _state(visit),
            link=f"/packs/{pack.serial}/",
        )


def _cars() -> Iterator[Seen]:
    """Cars that came, and nobody has said yet which pack is in them."""
    rows = Visit.objects.filter(pack__isnull=True).select_related("vehicle")
    for visit in rows.order_by("-opened_at", "-pk")[:LAST_SEEN]:
        car = visit.vehicle
        assert car is not None
        yield Seen(
            at=visit.opened_at,
            car=car.plate or car.vin,
            serial="",
            what=car.description,
            state=_state(visit),
            link=f"/vehicles/{car.vin}/",
        )


def _state(visit: Visit) -> str:
    """What it waits for, or how the visit stands."""
    if visit.state != Visit.State.CLOSED and visit.waits_for:
        return waiting(visit.waits_for)
    return STATES[Visit.State(visit.state)]
