"""What has to be asked before a check-in is stored: nothing that differs is assumed.

Each question is a fault that points at the field in which it is answered.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, time
from typing import Any

from packs.errors import Fault
from packs.models import Customer, Installation, Pack, Vehicle
from packs.reads import arrivals, names, sites
from packs.rules import stays
from packs.rules.identity import encode
from packs.rules.people import name_key
from packs.rules.vehicles import normalise_vin, search_key, vin_problem

YES_HERE, MISREAD = "yes_here", "misread"  # /pack/moved
STILL_THEIRS, PASSED_ON = "still_theirs", "passed_on"  # /owner/still
SOMEBODY_NEW = "somebody_new"  # /owner/customer, beside the ids of those of that name
GONE = frozenset({Pack.Status.DISMANTLED, Pack.Status.SCRAPPED})
NAMESAKES_MAX = 8  # offered to choose from

Entry = Mapping[str, Any]


@dataclass(frozen=True)
class Came:
    """The recorded things that the keys of an entry name, and where the packs sat then."""

    vehicle: Vehicle | None
    pack: Pack | None
    sitting: tuple[Installation, ...]
    elsewhere: Installation | None

    @property
    def at_home(self) -> bool:
        """Whether the pack that was read off sits in the car, as far as is recorded."""
        return self.pack is not None and self.pack.pk in {row.pack_id for row in self.sitting}

    @property
    def to_end(self) -> tuple[Installation, ...]:
        """The installations that end where the pack that was read off is in the car now."""
        if self.at_home:
            return ()
        return self.sitting if self.elsewhere is None else (*self.sitting, self.elsewhere)


def look(entry: Entry, *, opened_at: datetime) -> Came:
    """What stands recorded at that instant of what the entry names."""
    vin, serial = vin_of(entry), serial_of(entry)
    vehicle = None
    if vin is not None:
        rows = Vehicle.objects.select_related("customer")
        vehicle = rows.filter(vin=vin).first()
    pack = None
    if serial is not None:
        pack = names.packs().filter(serial__upper=serial.upper()).first()
    sitting = () if vehicle is None else tuple(arrivals.sitting(vehicle, at=opened_at))
    place = None if pack is None else arrivals.place_of(pack, at=opened_at)
    inside = place is not None and vehicle is not None and place.vehicle_id == vehicle.pk
    return Came(vehicle, pack, sitting, None if inside or vin is None else place)


def part(entry: Entry, name: str) -> Entry:
    said: Entry = entry.get(name) or {}
    return said


def vin_of(entry: Entry) -> str | None:
    said = part(entry, "vehicle").get("vin")
    return None if said is None else normalise_vin(said)


def serial_of(entry: Entry) -> str | None:
    """The serial that was read off, unless it was misread."""
    said = part(entry, "pack")
    serial: str | None = None if said.get("moved") == MISREAD else said.get("serial")
    return serial


def moved_at(entry: Entry, *, opened_at: datetime) -> datetime:
    """Since when the pack that was read off is in the car: the visit, or the day that is told."""
    day = part(entry, "pack").get("moved_on")
    if day is None or day == sites.day(opened_at):
        return opened_at
    return datetime.combine(day, time.min, tzinfo=sites.zone())


def ask(entry: Entry, came: Came, *, opened_at: datetime) -> list[Fault]:
    """Everything that is to be answered or corrected before the entry can be stored."""
    return [
        *_of_car(entry, came),
        *_of_return(entry, came),
        *_of_owner(entry, came),
        *_of_pack(entry, came),
        *_of_move(entry, came, opened_at),
        *_of_stay(entry, came, opened_at),
        *_of_codes(entry),
    ]


def _of_car(entry: Entry, came: Came) -> Iterator[Fault]:
    vin, car = vin_of(entry), came.vehicle
    if vin is None:
        if serial_of(entry) is None:
            sentence = "Give the VIN of the car, or the serial of the pack, or both."
            yield Fault("/vehicle/vin", "visit_of_nothing", sentence)
        return
    if car is None:
        problem = vin_problem(vin)
        if problem is not None:
            sentence = f"{problem} Read it from the car again."
            yield Fault("/vehicle/vin", "not_a_vin", sentence)
        return
    said = part(entry, "vehicle")
    if car.plate and _new_plate(car, said) and not said.get("same_car"):
        sentence = (
            f"The car with this VIN is recorded with the plate {car.plate}. If it is this car "
            "under another plate, say so; else read the VIN again."
        )
        yield Fault("/vehicle/same_car", "another_plate", sentence)


def _new_plate(car: Vehicle, said: Entry) -> bool:
    return bool(said.get("plate")) and search_key(said["plate"]) != search_key(car.plate)


def _of_return(entry: Entry, came: Came) -> Iterator[Fault]:
    """A car that never left has its visit already."""
    here = arrivals.still_here(came.vehicle, came.pack if vin_of(entry) is None else None)
    if here is not None and not part(entry, "visit").get("here_already"):
        sentence = (
            f"It is here already: its visit of {sites.day(here.opened_at).isoformat()} is not "
            "closed. Go on with that one; if it left and came back since, say so."
        )
        yield Fault("/visit/here_already", HERE_ALREADY, sentence)


HERE_ALREADY = "here_already"


def names_owner(said: Entry) -> bool:
    return any(said.get(name) for name in ("customer", "name", "phone", "email"))


def is_owner(said: Entry, recorded: Customer | None) -> bool:
    """Whether what is said of an owner is said of the recorded one."""
    if recorded is None:
        return False
    if said.get("customer"):
        return bool(said["customer"] == encode(Customer.PREFIX, recorded.pk))
    return name_key(said.get("name") or "") in {"", recorded.name_key}


def namesakes(name: str) -> list[Customer]:
    """The recorded owners of that name, with their cars."""
    rows = Customer.objects.prefetch_related("vehicles").filter(name_key=name_key(name))
    return list(rows.order_by("pk")[:NAMESAKES_MAX])


def _of_owner(entry: Entry, came: Came) -> Iterator[Fault]:
    said = part(entry, "owner")
    recorded = None if came.vehicle is None else came.vehicle.customer
    if not names_owner(said) or is_owner(said, recorded):
        return
    if vin_of(entry) is None:
        sentence = "An owner is recorded with a car: give its VIN, or leave the owner out."
        yield Fault("/owner/name", "owner_without_car", sentence)
    elif said.get("customer") in {None, SOMEBODY_NEW} and not said.get("name"):
        sentence = "Say whose number or address this is."
        yield Fault("/owner/name", "name_needed", sentence)
    else:
        yield from _whose(said, recorded)


def _whose(said: Entry, recorded: Customer | None) -> Iterator[Fault]:
    if recorded is not None and said.get("still") not in {STILL_THEIRS, PASSED_ON}:
        sentence = f"The recorded owner of this car is {recorded.name}. Is it still theirs?"
        yield Fault("/owner/still", "another_owner", sentence)
    known = not said.get("customer") and said.get("still") != STILL_THEIRS
    if known and namesakes(said["name"]):
        sentence = f"An owner named {said['name']} is recorded. Is it the same person?"
        yield Fault("/owner/customer", "same_name", sentence)


def _of_pack(entry: Entry, came: Came) -> Iterator[Fault]:
    serial, said = serial_of(entry), part(entry, "pack")
    if serial is None or came.at_home:
        return
    if came.pack is None and not said.get("pack_type"):
        sentence = (
            f"No pack {serial} is recorded. Say of which type it is, and it is recorded now; "
            "or read the serial again."
        )
        yield Fault("/pack/pack_type", "new_pack", sentence)
    odd = [] if vin_of(entry) is None else list(_against(came))
    if came.pack is not None and came.pack.status in GONE:
        status = came.pack.get_status_display().lower()
        odd.append(f"Pack {came.pack.serial} is recorded as {status}.")
    if odd and said.get("moved") != YES_HERE:
        where = "here" if vin_of(entry) is None else "in this car"
        told = " ".join([*odd, f"Is pack {serial} {where} now?"])
        yield Fault("/pack/moved", "pack_moved", told)


def _against(came: Came) -> Iterator[str]:
    """What is recorded against the pack's sitting in the car."""
    if came.elsewhere is not None and came.pack is not None:
        car = came.elsewhere.vehicle
        where = f"{car.vin} ({car.plate})" if car.plate else car.vin
        yield f"Pack {came.pack.serial} was last recorded in car {where}."
    for row in came.sitting:
        assert row.pack is not None
        yield f"This car is recorded with pack {row.pack.serial}."


def _of_move(entry: Entry, came: Came, opened_at: datetime) -> Iterator[Fault]:
    day = part(entry, "pack").get("moved_on")
    if day is None or serial_of(entry) is None:
        return
    if day > sites.day(opened_at):
        sentence = "That day is after the one on which it came in; correct it, or leave it out."
        yield Fault("/pack/moved_on", "after_the_arrival", sentence)
    built_on = None if came.pack is None else came.pack.built_on
    if built_on is not None and day < built_on:
        sentence = f"The pack was built on {built_on.isoformat()}; correct the day or the serial."
        yield Fault("/pack/moved_on", "before_built", sentence)
    began = max((row.installed_at for row in came.to_end), default=None)
    if began is not None and moved_at(entry, opened_at=opened_at) <= began:
        sentence = (
            f"A pack was put in on {sites.day(began).isoformat()} as it is recorded; "
            "give a later day, or leave it out."
        )
        yield Fault("/pack/moved_on", "before_it_was_put_in", sentence)


def _of_stay(entry: Entry, came: Came, opened_at: datetime) -> Iterator[Fault]:
    said = part(entry, "visit")
    promised_at, km = said.get("promised_at"), said.get("odometer_km")
    problem = None if promised_at is None else stays.promise_problem(promised_at, opened_at)
    if problem is not None:
        yield Fault("/visit/promised_at", *problem)
    if km is None or came.vehicle is None or said.get("odometer_sure"):
        return
    last = arrivals.last_reading(came.vehicle, at=opened_at)
    if last is not None and km < last.km:
        sentence = (
            f"{km} km is less than the {last.km} km read on {sites.day(last.at).isoformat()}. "
            "If the figure is right, as with a mended cluster, say so; else correct it."
        )
        yield Fault("/visit/odometer_sure", RUNS_BACK, sentence)


RUNS_BACK = "odometer_runs_back"


def _of_codes(entry: Entry) -> Iterator[Fault]:
    for place, code in enumerate(entry.get("codes") or ()):
        if code and not code.get("code"):
            sentence = "Give the code that this was read with, like P0A80."
            yield Fault(f"/codes/{place}/code", "code_needed", sentence)
