"""The desk's first act: what came in, whose it is, what is wrong with it; all of it or nothing."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction

from packs.errors import Contradiction, DomainError, Fault
from packs.models import Claim, Consent, Customer, Installation, Pack, Vehicle, Visit, Warranty
from packs.reads import arrivals, names, questions
from packs.reads.questions import Came, Entry
from packs.rules.identity import encode
from packs.rules.vehicles import search_key
from packs.writes.actors import Actor
from packs.writes.claims import record_claim
from packs.writes.consents import record_consent
from packs.writes.customers import change_customer, create_customer
from packs.writes.installations import record_installation
from packs.writes.judging import CLOCK_ERROR
from packs.writes.packs import change_pack, create_pack
from packs.writes.recording import lock, sent_otherwise
from packs.writes.trouble_codes import record_trouble_code
from packs.writes.vehicles import change_vehicle, create_vehicle
from packs.writes.visits import open_visit

STAY = ("complaint", "odometer_km", "promised_at", "opened_at")
FIELDS: Mapping[str, str] = {
    "/pack/pack": "/pack/serial",
    "/pack/vehicle": "/vehicle/vin",
    "/pack/installed_at": "/visit/opened_at",
    "/pack/removed_at": "/pack/moved_on",
    "/visit/pack": "/pack/serial",
    "/visit/vehicle": "/vehicle/vin",
}
"""Where the desk gives what a fact of a check-in calls otherwise."""


@dataclass(frozen=True)
class CheckedIn:
    """The visit, whether this call stored it, and the installations that it ended."""

    visit: Visit
    created: bool
    ended: tuple[Installation, ...] = ()


@dataclass(frozen=True)
class _Desk:
    """What is said at the counter, by whom and when."""

    by: Actor
    at: datetime
    entry: Entry

    @property
    def opened_at(self) -> datetime:
        return self.said("visit").get("opened_at") or self.at

    def said(self, part: str) -> Entry:
        return questions.part(self.entry, part)

    def name(self, *parts: object) -> str | None:
        """The external id of a part of what is sent, from that of the whole."""
        whole = self.entry.get("external_id")
        return None if whole is None else ":".join(map(str, (whole, *parts)))


def check_in(*, by: Actor, at: datetime, entry: Entry) -> CheckedIn:
    """Store a check-in; the same one sent again is found, not stored twice.

    `entry` has the parts `vehicle`, `owner`, `pack`, `visit`, `codes`, `consent` and `claims`
    (ids of running warranties), each by the names of the API, with the answers to what
    packs.reads.questions asks, and an `external_id` for the whole. Faults point below the part
    that they concern.
    """
    desk = _Desk(by, at, entry)
    with transaction.atomic():
        _hold(desk)
        stored = _sent_before(desk)
        if stored is not None:
            _follow(desk, _open(desk, stored.vehicle, stored.pack))
            return CheckedIn(stored, created=False)
        came = _ask(desk)
        vehicle = _vehicle(desk, came, _owner(desk, came))
        pack = _pack(desk, came)
        ended = _move(desk, came, vehicle, pack)
        visit = _open(desk, vehicle, pack)
        _follow(desk, visit)
        if pack is not None:
            _take_in(desk, pack)
    return CheckedIn(visit, created=True, ended=ended)


def _sent_before(desk: _Desk) -> Visit | None:
    """The visit stored under this name before; raises Conflict where it is of something else."""
    name = desk.name()
    if name is None:
        return None
    rows = Visit.objects.select_related("vehicle", "pack")
    stored = rows.filter(client=desk.by.client, external_id=name).first()
    if stored is None:
        return None
    vin, serial = questions.vin_of(desk.entry), questions.serial_of(desk.entry)
    same_car = vin == (None if stored.vehicle is None else stored.vehicle.vin)
    recorded = "" if stored.pack is None else stored.pack.serial.upper()
    if not same_car or (serial is not None and serial.upper() != recorded):
        raise sent_otherwise(name)
    return stored


def _hold(desk: _Desk) -> None:
    """Hold the car and the packs that it is about, in one order, until the transaction ends.

    Of one sheet sent twice at once the second thus waits, and finds what the first has stored.
    """
    came = questions.look(desk.entry, opened_at=desk.opened_at)
    if came.vehicle is not None:
        # Who stores a fact of the car holds its pack, and must not wait here for the car.
        Vehicle.objects.select_for_update(no_key=True).get(pk=came.vehicle.pk)
    concerned = {row.pack_id for row in came.sitting}
    concerned |= {None if came.pack is None else came.pack.pk}
    for number in sorted(number for number in concerned if number is not None):
        lock(number)


def _ask(desk: _Desk) -> Came:
    """What is recorded of what came; raises what is to be asked."""
    came = questions.look(desk.entry, opened_at=desk.opened_at)
    faults = questions.ask(desk.entry, came, opened_at=desk.opened_at)
    if desk.opened_at > desk.at + CLOCK_ERROR:
        sentence = "That is more than five minutes ahead of the clock here; correct it."
        faults.append(Fault("/visit/opened_at", "in_the_future", sentence))
    if faults:
        raise Contradiction(faults)
    return came


def _owner(desk: _Desk, came: Came) -> Customer | None:
    """Whose the car is from now on; None where that stays as it is."""
    said = desk.said("owner")
    recorded = None if came.vehicle is None else came.vehicle.customer
    if not questions.names_owner(said):
        return None
    if recorded is not None and questions.is_owner(said, recorded):
        _freshen(desk, recorded, said)
        return None
    if recorded is not None and said.get("still") == questions.STILL_THEIRS:
        return None
    with _pointed("/owner"):
        if said.get("customer") not in {None, questions.SOMEBODY_NEW}:
            chosen = names.customer(said["customer"])
            assert chosen is not None
            return _freshen(desk, chosen, said)
        entry = {name: said.get(name) for name in ("name", "phone", "email")}
        entry["external_id"] = desk.name("owner")
        return create_customer(by=desk.by, at=desk.at, entry=entry).row


def _freshen(desk: _Desk, owner: Customer, said: Entry) -> Customer:
    """How to reach a known owner, where it is said now."""
    reach = {name: said[name] for name in ("phone", "email") if said.get(name)}
    changes = {name: value for name, value in reach.items() if getattr(owner, name) != value}
    if not changes:
        return owner
    return change_customer(owner, by=desk.by, at=desk.at, version=owner.version, changes=changes)


def _vehicle(desk: _Desk, came: Came, owner: Customer | None) -> Vehicle | None:
    """The car: recorded now, or as it is with what is new of it."""
    said = desk.said("vehicle")
    vin, car = questions.vin_of(desk.entry), came.vehicle
    customer = {} if owner is None else {"customer": encode(Customer.PREFIX, owner.pk)}
    with _pointed("/vehicle"):
        if vin is None:
            return None
        if car is None:
            told = {name: said.get(name) for name in ("plate", "model_year", "description")}
            entry = {**told, **customer, "vin": vin}
            return create_vehicle(by=desk.by, at=desk.at, entry=entry).row
        changes: dict[str, Any] = dict(customer)
        if said.get("plate") and search_key(said["plate"]) != search_key(car.plate):
            changes["plate"] = said["plate"]
        if not changes:
            return car
        return change_vehicle(car, by=desk.by, at=desk.at, version=car.version, changes=changes)


def _pack(desk: _Desk, came: Came) -> Pack | None:
    """The pack that was read off, recorded now if need be; else the one known to sit in the car."""
    serial, said = questions.serial_of(desk.entry), desk.said("pack")
    if serial is None:
        return came.sitting[0].pack if came.sitting else None
    if came.pack is not None:
        return came.pack
    entry = {"serial": serial, "pack_type": said["pack_type"], "status": Pack.Status.IN_SHOP.value}
    with _pointed("/pack"):
        return create_pack(by=desk.by, at=desk.at, entry=entry).row


def _move(
    desk: _Desk, came: Came, vehicle: Vehicle | None, pack: Pack | None
) -> tuple[Installation, ...]:
    """The pack is in the car from now on; returns the installations that thereby ended."""
    if vehicle is None or pack is None or questions.serial_of(desk.entry) is None or came.at_home:
        return ()
    moved_at = questions.moved_at(desk.entry, opened_at=desk.opened_at)
    with _pointed("/pack"):
        ended = tuple(_end(desk, came, row, moved_at) for row in came.to_end)
        entry = {
            "pack": pack.serial,
            "vehicle": vehicle.vin,
            "installed_at": moved_at,
            "installed_km": _km_at(desk, moved_at),
            "external_id": desk.name("in"),
        }
        record_installation(by=desk.by, at=desk.at, entry=entry)
    return ended


def _km_at(desk: _Desk, moved_at: datetime) -> int | None:
    """The odometer of the car, known only where the pack counts as put in on this visit."""
    km: int | None = desk.said("visit").get("odometer_km")
    return km if moved_at == desk.opened_at else None


def _end(desk: _Desk, came: Came, row: Installation, moved_at: datetime) -> Installation:
    """The same installation again, with its end, in place of the old."""
    assert row.pack is not None
    moved = came.elsewhere is not None and row.pk == came.elsewhere.pk
    entry = {
        "pack": row.pack.serial,
        "vehicle": row.vehicle.vin,
        "installed_at": row.installed_at,
        "installed_km": row.installed_km,
        "removed_at": moved_at,
        "removed_km": desk.said("pack").get("removed_km") if moved else None,
        "supersedes": encode(Installation.PREFIX, row.pk),
        "external_id": desk.name("out", row.pk),
    }
    return record_installation(by=desk.by, at=desk.at, entry=entry).row


def _open(desk: _Desk, vehicle: Vehicle | None, pack: Pack | None) -> Visit:
    said = desk.said("visit")
    entry = {
        **{name: said.get(name) for name in STAY},
        "waits_for": said.get("waits_for") or Visit.WaitsFor.DIAGNOSIS.value,
        "vehicle": None if vehicle is None else vehicle.vin,
        "pack": None if pack is None else pack.serial,
        "external_id": desk.name(),
    }
    with _pointed("/visit"):
        return open_visit(by=desk.by, at=desk.at, entry=entry).row


def _follow(desk: _Desk, visit: Visit) -> None:
    """What is told on the visit: the codes, the owner's word, the claims."""
    key = encode(Visit.PREFIX, visit.pk)
    _record_codes(desk, key)
    if desk.said("consent"):
        entry = {
            "given": True,
            **desk.said("consent"),
            "visit": key,
            "about": Consent.About.INTAKE.value,
            "external_id": desk.name("consent"),
        }
        with _pointed("/consent"):
            record_consent(by=desk.by, at=desk.at, entry=entry)
    _claim(desk, visit, key)


def _record_codes(desk: _Desk, visit: str) -> None:
    faults: list[Fault] = []
    for place, code in enumerate(desk.entry.get("codes") or ()):
        if not code:
            continue
        entry = {**code, "visit": visit, "external_id": desk.name("code", place + 1)}
        try:
            with _pointed(f"/codes/{place}"):
                record_trouble_code(by=desk.by, at=desk.at, entry=entry)
        except DomainError as error:
            faults += error.faults
    if faults:
        raise Contradiction(faults)


def _claim(desk: _Desk, visit: Visit, key: str) -> None:
    """Open a claim under each warranty that was chosen; it runs at the odometer read now."""
    for warranty in desk.entry.get("claims") or ():
        name = desk.name("claim", warranty)
        entry = {
            "warranty": warranty,
            "visit": key,
            "decision": Claim.Decision.OPEN.value,
            "reason": visit.complaint,
            "external_id": name,
        }
        if not Claim.objects.filter(client=desk.by.client, external_id=name or "").exists():
            _must_run(warranty, visit)
        with _pointed("/claims"):
            record_claim(by=desk.by, at=desk.at, entry=entry)


def _must_run(warranty: str, visit: Visit) -> None:
    known = () if visit.pack is None else arrivals.promises(
        visit.pack, at=visit.opened_at, odometer_km=visit.odometer_km
    )  # fmt: skip
    said = [row for row in known if encode(Warranty.PREFIX, row.warranty.pk) == warranty]
    if not said:
        sentence = "That warranty is not of this pack; choose one of those shown, or none."
        raise Contradiction.at("/claims", "other_pack", sentence)
    if not said[0].running:
        sentence = (
            f"That warranty has ended{_how(said[0])}. Take it out, or correct the odometer; "
            "goodwill is the manager's to give."
        )
        raise Contradiction.at("/claims", ENDED, sentence)


ENDED = "warranty_ended"


def _how(promise: arrivals.Promise) -> str:
    """By how much, where that is known."""
    if promise.days_past is not None and promise.term.ends_on is not None:
        return f", on {promise.term.ends_on.isoformat()}"
    return "" if promise.km_past is None else f": the car is {promise.km_past} km past its end"


def _take_in(desk: _Desk, pack: Pack) -> None:
    """The pack is in the shop, unless that is what is known of it."""
    row = Pack.objects.get(pk=pack.pk)
    if row.status != Pack.Status.IN_SHOP:
        changes = {"status": Pack.Status.IN_SHOP.value}
        change_pack(row, by=desk.by, at=desk.at, version=row.version, changes=changes)


@contextmanager
def _pointed(part: str) -> Iterator[None]:
    """Faults inside point at the fields of the check-in, below that part of it."""
    try:
        yield
    except DomainError as error:
        raise type(error)([_at_field(fault, part) for fault in error.faults]) from error


def _at_field(fault: Fault, part: str) -> Fault:
    if fault.pointer == "/external_id":
        return fault
    below = fault.below(part)
    return Fault(FIELDS.get(below.pointer, below.pointer), below.code, below.detail)
