"""Loading the made-up shop through the product's own writes, in the order in which it was told.

Everything bears a key, so that what is stored already is found and not stored twice. Between
stretches of time the fleet is fitted and every outlook worked out, as it was then; a fit that is
stored says that its stretch is done.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import datetime, timedelta
from itertools import groupby
from typing import Any

from django.db import transaction

from packs.errors import DomainError
from packs.models import Client, Equipment, Module, Pack, Person, Role, Visit, VoltageCheck
from packs.reads import names
from packs.rules.identity import encode
from packs.rules.voltages import to_units
from packs.writes import (
    calls,
    checks,
    claims,
    components,
    consents,
    cores,
    cost_estimates,
    customers,
    equipment,
    failures,
    incidents,
    inspections,
    installations,
    isolation_checks,
    lock_outs,
    matchings,
    module_tests,
    modules,
    pack_types,
    packs,
    part_tests,
    people,
    photos,
    planned_tests,
    prices,
    re_energisings,
    reassemblies,
    releases,
    shipping_decisions,
    sites,
    swaps,
    teardowns,
    trouble_codes,
    vehicles,
    visits,
    voiding,
    warranties,
    work_times,
)
from packs.writes.actors import Actor
from reports.models import StoredFit
from reports.writes import fleet_work, outlooks
from shop.demo import present
from shop.demo.books import Books
from shop.demo.calendar import Calendar
from shop.demo.curves import arrays
from shop.demo.events import Event, Ref
from shop.demo.floor import Floor
from shop.demo.oddities import make_strange
from shop.demo.opening import opening
from shop.demo.stockroom import Stockroom

CLIENT = "made-up shop"
FIT_EVERY_D = 182  # days between the fits of the past
FITS_BEFORE = 12

Progress = Callable[[str, int, int], None]

CREATE: Mapping[str, Callable[..., Any]] = {
    "site": sites.create_site,
    "person": people.create_person,
    "equipment": equipment.create_equipment,
    "pack_type": pack_types.create_pack_type,
    "lot": modules.create_lot,
    "price": prices.create_price,
    "module": modules.create_module,
    "customer": customers.create_customer,
    "vehicle": vehicles.create_vehicle,
    "pack": packs.create_pack,
    "visit": visits.open_visit,
    "installation": installations.record_installation,
    "trouble_code": trouble_codes.record_trouble_code,
    "inspection": inspections.record_inspection,
    "swap": swaps.record_swap,
    "failure": failures.record_failure,
    "warranty": warranties.record_warranty,
    "claim": claims.record_claim,
    "cost_estimate": cost_estimates.record_cost_estimate,
    "consent": consents.record_consent,
    "call": calls.record_call,
    "core": cores.record_core,
    "photo": photos.record_photo,
    "lock_out": lock_outs.record_lock_out,
    "teardown": teardowns.record_teardown,
    "reassembly": reassemblies.record_reassembly,
    "re_energising": re_energisings.record_re_energising,
    "isolation_check": isolation_checks.record_isolation_check,
    "release": releases.record_release,
    "work_time": work_times.record_work_time,
    "incident": incidents.record_incident,
    "component": components.create_component,
    "part_test": part_tests.record_part_test,
    "module_test": module_tests.record_module_test,
    "planned_test": planned_tests.plan_test,
    "matching": matchings.record_matching,
    "shipping_decision": shipping_decisions.record_shipping_decision,
}
BEFORE_PACKS = {"customer", "vehicle"}
KEYED = {
    "site", "person", "equipment", "pack_type", "price", "lot", "module",
    "customer", "vehicle", "pack", "component",
}  # fmt: skip


def course_of_events(books: Books, set_up_at: datetime) -> list[Event]:
    """Everything that was ever told to the register before the demo was first set up."""
    calendar = Calendar.of(set_up_at, books.read("site")["site"]["time_zone"])
    floor = Floor(books, calendar)
    floor.run()
    stock = Stockroom(books, calendar)
    present.fill(floor, stock)
    told = [*make_strange(floor.told(), calendar), *stock.told()]
    return [*opening(books, calendar), *sorted(told, key=lambda event: event.at)]


def shop_client(*, at: datetime) -> Client:
    """Through whom the made-up records come; as old as the first set-up of the demo."""
    return Client.objects.get_or_create(name=CLIENT, defaults={"created_at": at})[0]


def is_loaded(client: Client) -> bool:
    """Whether everything is there: the last fit is stored when all else is."""
    return StoredFit.objects.filter(fitted_at=client.created_at).exists()


def load_all(client: Client, events: Sequence[Event], progress: Progress) -> None:
    """Load the course of events, with the fits and outlooks of the past and of the first day."""
    loader = Loader(client)
    begun = client.created_at - timedelta(days=FIT_EVERY_D * FITS_BEFORE)
    done, total = 0, len(events)
    for number in range(FITS_BEFORE + 1):
        until = begun + timedelta(days=FIT_EVERY_D * number)
        stretch = [event for event in events if event.at <= until]
        events = [event for event in events if event.at > until]
        for batch in by_pack(stretch):
            loader.load(batch)
        judge_fleet(until)
        done += len(stretch)
        progress(f"{until:%B %Y}", done, total)


def by_pack(events: Sequence[Event]) -> Iterator[list[Event]]:
    """What is about no pack alone first, then pack by pack, each in order of time."""
    ordered = sorted(events, key=_about)
    for _, group in groupby(ordered, key=_about):
        yield list(group)


def _about(event: Event) -> str:
    """Cars and their owners come before the packs that may go into them."""
    return "" if event.kind in BEFORE_PACKS else event.pack or ""


def judge_fleet(at: datetime) -> None:
    """Fit the fleet and work out every outlook as at that instant, where it was not done before."""
    if StoredFit.objects.filter(fitted_at=at).exists():
        return
    with transaction.atomic():
        fleet_work.fit_fleet(at=at, as_of=at)
        outlooks.work_out(list(Pack.objects.values_list("pk", flat=True)), at=at)


class Loader:
    """Tells events to the register; ids of what was told are kept for what refers to it."""

    def __init__(self, client: Client) -> None:
        self.client, self.books = client, Books()
        self.ids: dict[str, str] = {}
        self.visits: dict[str, Visit] = {}
        self.people: dict[str, Person] = {}

    def load(self, events: Sequence[Event]) -> None:
        """All of these or none."""
        with transaction.atomic():
            for is_check, group in groupby(events, key=lambda event: event.kind == "voltage_check"):
                if is_check:
                    self._checks(list(group))
                else:
                    for event in group:
                        self._one(event)

    def _actor(self, event: Event) -> Actor:
        person = None
        if event.by is not None:
            person = self.people.get(event.by) or Person.objects.get(code=event.by)
            self.people[event.by] = person
        return Actor(self.client, frozenset({Role.MANAGER.value}), person)

    def _one(self, event: Event) -> None:
        if event.kind in CREATE:
            entry = self._resolved(event.entry)
            if event.kind not in KEYED:
                entry["external_id"] = event.key
            stored = CREATE[event.kind](by=self._actor(event), at=event.at, entry=entry).row
            self.ids[event.key] = encode(stored.PREFIX, stored.pk)
            if isinstance(stored, Visit):
                self.visits[event.key] = stored
        elif event.kind == "void":
            self._void(event)
        else:
            self._change(event)

    def _resolved(self, entry: Mapping[str, Any]) -> dict[str, Any]:
        """The entry with ids in place of what refers to something told before."""
        told = {name: self._told(value) for name, value in entry.items()}
        if "picture" in told:
            told["image"] = self.books.picture(told.pop("picture"))
        if "series" in told:
            told["series"] = arrays(told["series"])
        return told

    def _told(self, value: Any) -> Any:
        if isinstance(value, Ref):
            return self.ids[value.key]
        if isinstance(value, list) and value and isinstance(value[0], Ref):
            return [self.ids[one.key] for one in value]
        return value

    def _checks(self, events: Sequence[Event]) -> None:
        """The checks of one go are told in one go."""
        for _, group in groupby(events, key=_go):
            self._go(list(group))

    def _go(self, events: Sequence[Event]) -> None:
        last = events[-1]
        entries = [self._check_entry(event) for event in events]
        results = checks.record_each(by=self._actor(last), at=last.at, entries=entries)
        for event, result in zip(events, results, strict=True):
            if isinstance(result, DomainError):
                raise result
            self.ids[event.key] = encode(VoltageCheck.PREFIX, result.row.pk)

    def _check_entry(self, event: Event) -> dict[str, Any]:
        entry = self._resolved(event.entry)
        volts = to_units(entry["voltages_v"])
        return {**entry, "voltages_v": volts, "external_id": event.key}

    def _change(self, event: Event) -> None:
        """A new version of something; not where somebody has changed it since."""
        row, change = self._changed(event)
        if row.version == event.version:
            change(row, by=self._actor(event), at=event.at, version=row.version,
                   changes=dict(event.entry))  # fmt: skip

    def _changed(self, event: Event) -> tuple[Any, Callable[..., Any]]:
        if event.kind == "visit_state":
            return self.visits[event.key], visits.change_visit
        if event.kind == "pack_status":
            return names.pack(event.key), packs.change_pack
        if event.kind == "module_status":
            return Module.objects.get(tag=event.key), modules.change_module
        return Equipment.objects.get(code=event.key), equipment.change_equipment

    def _void(self, event: Event) -> None:
        fact = names.fact(VoltageCheck, self.ids[event.key])
        assert fact is not None
        if fact.voided_at is None:
            reason = event.entry["reason"]
            voiding.void(fact, by=self._actor(event), at=event.at, reason=reason)


def _go(event: Event) -> Any:
    """What makes checks one go: their set, unless one was told late, or in place of another."""
    return event.entry.get("set"), event.at.date(), "supersedes" in event.entry


def only_about(events: Sequence[Event], serials: frozenset[str]) -> list[Event]:
    """The part of the course of events about a few packs, and what is about none alone."""
    donors = {e.pack for e in events if e.kind == "pack" and e.entry.get("status") == "dismantled"}
    wanted = serials | donors | {None}
    told = [e for e in events if e.pack in wanted and e.kind not in BEFORE_PACKS]
    cars = {event.entry.get("vehicle") for event in told}
    brought = [e for e in events if e.kind == "vehicle" and e.key in cars]
    owners = {event.entry["customer"].key for event in brought}
    kept = cars | owners
    return [e for e in events if (e.key in kept if e.kind in BEFORE_PACKS else e.pack in wanted)]
