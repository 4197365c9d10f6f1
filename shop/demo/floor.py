"""The shop floor of the demo: who comes when, what is found by noisy meters, what is decided.

The mechanism decides what is true; the shop sees it only through its checks, and errs.
"""

import heapq
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from shop.demo import cores, desk, mechanism, repairs
from shop.demo.books import Books, Row
from shop.demo.calendar import Calendar
from shop.demo.events import Event, Ref
from shop.demo.mechanism import YEAR_DAYS
from shop.demo.repairs import Shelf
from shop.demo.stays import Lead, Life, Stay

SEED = 20_240_611  # of the whole course of events; any number would do
SERVICE_EVERY_D = 275.0  # median time from one check to the next
LONGEST_WAIT_D = 560.0
LEAVES_SHARE = 0.05  # of owners who are not seen again after a visit
LAST_DAY = -12.0  # whoever came after this day is told of in `present`
OTHER_CAUSES = {
    "isolation": 0.2, "cooling": 0.25, "junction_board": 0.2, "sensor": 0.2, "leak": 0.1,
    "accident": 0.05,
}  # fmt: skip
CODES = {
    "module": "P0A80", "capacity": "P0A7F", "connection": "P0A80", "sense_lead": "P0B3B",
    "isolation": "P0AA6", "cooling": "P0A82", "junction_board": "P0AA1", "sensor": "P0A9C",
    "leak": "P0AA6",
}  # fmt: skip


@dataclass(order=True)
class Due:
    """A pack that comes in: on which day, why, and with what trouble since when."""

    day: float
    serial: str
    why: str = field(compare=False)
    cause: str = field(compare=False, default="")
    since: float = field(compare=False, default=0.0)
    fixed: bool = field(compare=False, default=False)


class Floor:
    """Six years of the shop, in order of time."""

    def __init__(self, books: Books, calendar: Calendar) -> None:
        self.books, self.calendar = books, calendar
        self.lives: dict[str, Life] = {}
        self.rows = {row["serial"]: row for row in books.packs}
        self.cars = {row["vin"]: row for row in books.rows("vehicles")}
        self.customers = {row["key"]: row for row in books.rows("customers")}
        self.queue: list[Due] = []
        self.expected: dict[str, Due] = {}
        self.busy_until: dict[str, float] = {}
        self.shelf = Shelf(books)
        self.events: list[Event] = []

    def run(self) -> None:
        """All stays until a few days ago, each pack's in the order they were told."""
        for number, row in enumerate(self.books.packs):
            self._begin(number, row)
        while self.queue:
            self._receive(heapq.heappop(self.queue))

    def told(self) -> list[Event]:
        """Everything that was told about packs before today."""
        end = self.calendar.midnight(0)
        return [event for event in self.events if event.at < end]

    def _begin(self, number: int, row: Row) -> None:
        life = _life(self.books, number, row)
        self.lives[life.serial] = life
        first = -float(row["first_seen_days_before"])
        days = {"bought" if life.vehicle is None else "service": first}
        if "car_lost_days_before" in row:
            days["car_lost"] = -float(row["car_lost_days_before"])
        if "exchange" in row:
            days["exchange"] = -float(row["exchange"]["days_before"])
        for why, day in days.items():
            heapq.heappush(self.queue, Due(day, life.serial, why, fixed=True))

    def _receive(self, due: Due) -> None:
        """One stay, and when the pack is expected again."""
        life = self.lives[due.serial]
        if not self._comes(life, due):
            return
        day = self.calendar.open_day(max(due.day, self.busy_until.get(due.serial, due.day)))
        stay = Stay(life, self.books, self.calendar, day)
        if life.stays == 1:
            self._enter(stay)
        self._serve(stay, due)
        self.events.extend(stay.events)
        self.busy_until[life.serial] = max(stay.day + 1, self.busy_until.get(life.serial, -1e9))
        if life.vehicle is not None:
            self._expect(life, self.busy_until[life.serial])

    def _comes(self, life: Life, due: Due) -> bool:
        if due.why == "bought":
            return True
        return life.vehicle is not None and (due.fixed or due is self.expected.get(due.serial))

    def _enter(self, stay: Stay) -> None:
        """A pack that the register does not know yet."""
        life = stay.life
        vehicle = life.vehicle
        entry = {
            "serial": life.serial,
            "pack_type": life.kind.code,
            "built_on": self.calendar.date(life.built_day),
            "status": "shelf" if vehicle is None else "in_service",
        }
        if vehicle is not None:
            self._enter_car(stay, vehicle)
        stay.tell("pack", entry, key=life.serial, by="DS")
        if vehicle is not None:
            stay.install(vehicle)

    def _enter_car(self, stay: Stay, vin: str) -> None:
        """The car and whose it is; a customer known already is told again, and found."""
        car = dict(self.cars[vin])
        customer = dict(self.customers[car["customer"]])
        key = customer.pop("key")
        stay.tell("customer", {**customer, "external_id": key}, key=key, by="DS")
        stay.tell("vehicle", {**car, "customer": Ref(key)}, key=vin, by="DS")

    def _serve(self, stay: Stay, due: Due) -> None:
        words = self.books.words["complaints"]
        kind = {"car_lost": "purchase"}.get(due.why, due.why)
        stay.open(str(stay.rng.choice(words[kind])))
        if due.why == "exchange":
            row = self.rows[stay.life.serial]["exchange"]
            self.take_up(cores.exchange(stay, row, self.lives))
            return
        if due.why == "service":
            desk.intake(stay)
        read = stay.check_pair(stay.level, suffix="found", alone=stay.rng.random() < 0.08)
        if due.why == "car_lost":
            self.shelf.buy(stay)
            return
        if due.why == "bought" or "exchange" in self.rows[stay.life.serial]:
            self._put_by(stay)
            return
        if due.why == "failure":
            if due.cause in CODES:
                stay.read_code(CODES[due.cause], read)
            how = "stranded" if stay.rng.random() < 0.3 else "code_set"
            stay.fail(due.cause, how, due.since)
        exchanged = repairs.decide(stay, due.cause, read, self.shelf, self.lives)
        if exchanged is not None:
            self.take_up(exchanged)

    def _put_by(self, stay: Stay) -> None:
        """Looked at and no more; one bought by itself goes on the shelf, is lent, or sold on."""
        kept_for = self.rows[stay.life.serial].get("keeps")
        repairs.look(stay, None)
        stay.state("closed")
        if stay.life.vehicle is not None or kept_for in {"exchange", "quarantine"}:
            return
        if kept_for is None:
            self.shelf.packs.append(stay.life.serial)
        else:
            stay.next_day(20)
            stay.status(kept_for)

    def take_up(self, stay: Stay) -> None:
        """The stay of a pack that took the place of another in its car."""
        self.events.extend(stay.events)
        self.busy_until[stay.life.serial] = stay.day + 1
        self._expect(stay.life, stay.day + 1)

    def _expect(self, life: Life, day: float) -> None:
        """The next visit: the planned one, or what breaks first."""
        self.expected.pop(life.serial, None)
        if self.rows[life.serial].get("only_once") or life.rng.random() < LEAVES_SHARE:
            return
        wait = SERVICE_EVERY_D * float(life.rng.lognormal(0.0, 0.45))
        if life.repairs and life.fresh_repair and life.rng.random() < 0.8:
            wait, why = float(life.rng.uniform(26, 45)), "recheck"
        else:
            why = "service"
        life.fresh_repair = False
        planned = day + min(wait, LONGEST_WAIT_D)
        since, cause = min(self._troubles(life, day + 1, planned), default=(planned, ""))
        if cause:
            towed = since + float(life.rng.uniform(0.2, 4.0))
            due = Due(towed, life.serial, "failure", cause, since)
        else:
            due = Due(planned, life.serial, why)
        if due.day < LAST_DAY:
            self.expected[life.serial] = due
            heapq.heappush(self.queue, due)

    def _troubles(self, life: Life, after: float, before: float) -> Iterator[tuple[float, str]]:
        """What would stop the car between two days: wear, a lost cell, a lead, something else."""
        rng, rates = life.rng, self.books.rates
        worn = mechanism.breakdown(
            life.condition, after=after, before=before, day_of_year=self.calendar.day_of_year
        )
        if worn is not None:
            yield worn.day, worn.cause
        lost = life.condition.elements.lost_day + 6.0
        for day in lost[(lost > after) & (lost < before)]:
            yield float(day), "module"
        other = after + float(rng.exponential(YEAR_DAYS / rates["other_failures_per_year"]))
        if other < before:
            yield other, str(rng.choice(list(OTHER_CAUSES), p=list(OTHER_CAUSES.values())))
        if life.lead is not None and after < life.lead.day + 20 < before:
            yield life.lead.day + 20, "sense_lead"


def _life(books: Books, number: int, row: Row) -> Life:
    """A pack as it stands when the shop first sees it, with the faults that wait for it."""
    rng = np.random.default_rng([SEED, number])
    kind, first = books.kinds[row["pack_type"]], -float(row["first_seen_days_before"])
    built = -int(row["built_days_before"])
    condition = mechanism.make_pack(kind.nature, rng, built_day=built, first_day=first)
    rates = books.rates
    loose = first + float(rng.exponential(YEAR_DAYS / rates["loose_joints_per_year"]))
    element = int(rng.integers(kind.nature.elements))
    pace = rates["joint_mohm_per_year"] * kind.reference_a / 45.0
    if kind.reads_cells:
        pace *= 0.1  # a lithium-ion pack is stopped by a tenth of it
    condition = mechanism.loosen(condition, element, day=loose, mohm_per_year=pace)
    per_day = float(rng.lognormal(np.log(45.0), 0.35))
    return Life(
        serial=row["serial"],
        kind=kind,
        condition=condition,
        rng=rng,
        built_day=built,
        vehicle=row["vehicle"],
        km_at_zero=-built * per_day,
        km_per_day=per_day,
        lead=_lead(books, kind.nature.modules, first, rng, cells=kind.reads_cells),
    )


def _lead(
    books: Books, modules: int, first: float, rng: np.random.Generator, *, cells: bool
) -> Lead | None:
    """A sense lead that will go bad one day; most do so after the time that is looked at."""
    day = first + float(rng.exponential(YEAR_DAYS / books.rates["sense_leads_per_year"]))
    position = int(rng.integers(1, modules // 2 - 1))
    error_v = books.rates["sense_lead_v"] * float(rng.uniform(0.7, 1.6))
    return Lead(position, day, error_v * 0.2 if cells else error_v)
