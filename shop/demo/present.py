"""The made-up shop this morning: which cars stand in it, what each waits for, who is expected."""

from collections.abc import Callable, Iterator
from decimal import Decimal

import numpy as np

from shop.demo import desk, jobs, mechanism, repairs
from shop.demo.floor import Floor
from shop.demo.jobs import Job
from shop.demo.mechanism import Drive
from shop.demo.stays import Life, Stay
from shop.demo.stockroom import Stockroom

NOON_MIN, EVENING_MIN = 210, 510  # minutes after opening: 12:00 and 17:00
RESTED_D = 40  # a pack that was here within so many days is not brought in again
RECHECKS = ((-35, None), (-31, 1), (-29, 2))  # day of the repair, open day it is booked for
LONG_KNOWN_STAYS = 4
SEEN_D = -15  # calendar day
CALLED_SINCE = -3  # open days
LOOSE_SINCE_D, LOOSE_MOHM_PER_YEAR = 120, 60.0
LEFT_ON_THE_ROAD = 6  # packs of widest spread that nobody has brought
ORDINARY = 50  # of whose spread nobody would speak
LEAKS_AT = 0.31  # share of the voltage from the minus end
FAN = "FAN-0412"  # the tag of the fan that goes into the pack that is ready

Fits = Callable[[Life, float], bool]


class Present:
    """Brings cars in, each pack once."""

    def __init__(self, floor: Floor, stock: Stockroom) -> None:
        self.stock = stock
        self.floor, self.calendar, self.books = floor, floor.calendar, floor.books
        self.by_spread = sorted(floor.lives.values(), key=self._rank)
        self.words = floor.books.words["present"]
        self.taken: set[str] = set()

    def fill(self) -> None:
        """What stands in the shop, who is expected back, who was called about an outlook."""
        self._bring_rechecks()
        for scene in (
            self._back_under_warranty, self._found_elsewhere, self._waits_for_owner,
            self._waits_for_parts, self._on_bench, self._road_test, self._ready, self._late,
            self._gone_yesterday, self._quarantined,
        ):  # fmt: skip
            self._keep(scene())
        for stay in self._call_about_outlooks():
            self._keep(stay)

    def _keep(self, stay: Stay) -> None:
        self.floor.events.extend(stay.events)

    def _rank(self, life: Life) -> tuple[float, str]:
        """The widest true spread under load first, as a share of the type's limit."""
        kind = life.kind
        one = np.array([0.0])
        drive = Drive(one, one + kind.reference_a, one + 25.0, one + 0.55)
        volts = mechanism.voltages(life.condition, drive)
        if not kind.reads_cells:
            volts = mechanism.by_block(volts, kind.sizes, kind.nature)
        return -float(np.ptp(volts)) / kind.limit_v, life.serial

    def _pick(self, day: float, fits: Fits = lambda life, day: True, after: int = 0) -> Life:
        """The pack of widest spread that fits, `after` so many others."""
        free = (life for life in self.by_spread if self._is_free(life, day) and fits(life, day))
        for _ in range(after):
            next(free)
        life = next(free)
        self.taken.add(life.serial)
        return life

    def _is_free(self, life: Life, day: float) -> bool:
        row = self.floor.rows[life.serial]
        seen = self.floor.busy_until[life.serial]
        wanted = "only_once" in row or life.serial in self.taken
        return life.vehicle is not None and not wanted and seen < day - RESTED_D

    def _stay(self, life: Life, workday: int) -> Stay:
        return Stay(life, self.books, self.calendar, self.calendar.workday(workday))

    def _open(self, stay: Stay, scene: str, promised: tuple[int, int], waits_for: str) -> None:
        """The car is checked in; promised for an open day from today, minutes after opening."""
        workday, minutes = promised
        when = self.calendar.at(self.calendar.workday(workday), minutes)
        stay.open(self.words[scene], promised_at=when, waits_for=waits_for)
        desk.consent(stay, "intake", how="signed")

    def _back_under_warranty(self) -> Stay:
        """Repaired not long ago, and back with a code, for a joint came loose: perhaps a claim."""
        day = self.calendar.workday(-1)
        stay = self._stay(self._pick(day, _warranted), -1)
        life, since = stay.life, float(day - LOOSE_SINCE_D)
        element = int(stay.rng.integers(life.kind.nature.elements))
        life.condition = mechanism.loosen(
            life.condition, element, day=since, mohm_per_year=LOOSE_MOHM_PER_YEAR
        )
        self._open(stay, "back", (1, NOON_MIN), "diagnosis")
        stay.read_code("P0A80", stay.check_pair(stay.level, suffix="found"))
        Job(stay).look()
        return stay

    def _found_elsewhere(self) -> Stay:
        """The serial on the tray stood recorded in another car of the same firm until now."""

        def has_a_mate(life: Life, day: float) -> bool:
            return self._mate(life) is not None

        life = self._pick(self.calendar.workday(-1), has_a_mate)
        stay, mate = self._stay(life, -1), self._mate(life)
        assert mate is not None
        other = self._stay(mate, -1)
        vehicle, left = str(mate.vehicle), str(life.vehicle)
        stay.take_out()
        other.minutes = stay.minutes
        other.take_out()
        life.km_at_zero, mate.km_at_zero = mate.km_at_zero, life.km_at_zero
        life.km_per_day, mate.km_per_day = mate.km_per_day, life.km_per_day
        other.install(left)
        self._keep(other)
        stay.minutes = other.minutes
        stay.install(vehicle)
        self._open(stay, "elsewhere", (0, EVENING_MIN), "diagnosis")
        stay.check_pair(stay.level, suffix="found")
        return stay

    def _mate(self, life: Life) -> Life | None:
        """Another pack of the same type in another car of the same owner."""
        floor = self.floor
        owner = floor.cars[str(life.vehicle)]["customer"]
        mates = (
            other
            for other in floor.lives.values()
            if other.kind is life.kind and other is not life and self._is_free(other, 0)
        )
        return next((o for o in mates if floor.cars[str(o.vehicle)]["customer"] == owner), None)

    def _waits_for_owner(self) -> Stay:
        stay = self._stay(self._pick(self.calendar.workday(-2), after=LEFT_ON_THE_ROAD), -2)
        self._open(stay, "owner", (3, EVENING_MIN), "diagnosis")
        stay.check_pair(stay.level, suffix="found")
        repairs.look(stay, "module")
        desk.photograph(stay, "bus_bar")
        desk.estimate(stay, desk.lines_for(stay, "module", (), 4), "price holds for four modules")
        stay.state("waiting", "owner")
        desk.call(stay, "owner_word", "not_reached", again_day=self.calendar.workday(0))
        return stay

    def _waits_for_parts(self) -> Stay:
        stay = self._agreed("parts", -4, "module", (1, EVENING_MIN), how="telephone")
        stay.state("waiting", "parts")
        return stay

    def _on_bench(self) -> Stay:
        """Back under warranty as well, with a cell short; its pack lies open since yesterday."""
        day = self.calendar.workday(-3)
        stay = self._stay(self._pick(day, _warranted), -3)
        module = int(stay.rng.integers(stay.life.kind.nature.modules))
        stay.life.condition = mechanism.lose_cell(stay.life.condition, module, day=float(day))
        self._open(stay, "bench", (0, EVENING_MIN), "diagnosis")
        stay.read_code("P0A80", stay.check_pair(stay.level, suffix="found"))
        stay.fail("module", "stranded", stay.day)
        assert stay.life.warranty is not None
        stay.claim(stay.life.warranty[0], "open", "", Decimal(0))
        stay.status("in_shop")
        stay.state("waiting", "bench")
        stay.day, stay.minutes = self.calendar.workday(-1), 15.0
        self._opened(stay)
        return stay

    def _opened(self, stay: Stay) -> None:
        """The low module is out, one from stock is kept for its place, one side is measured."""
        job = Job(stay)
        with job.timed("inspection"):
            job.look()
            low = job.weakest()
        with job.timed("lock_out"):
            job.lock_out()
        with job.timed("teardown"):
            job.open_cover()
            desk.photograph(stay, "tray")
            job.take_out(low)
        job.match(low, self.stock.good(stay.life.kind)[1:])
        beside = [at for at in job.touched(low) if at != low]
        job.measure(beside[:1])

    def _road_test(self) -> Stay:
        """A module changed and the pack closed; only the check under load is wanting."""
        stay = self._agreed("road_test", -5, "module", (0, NOON_MIN), fits=_by_modules)
        stay.day, stay.minutes = self.calendar.workday(-2), 30.0
        job = Job(stay)
        low = job.weakest()
        with job.timed("lock_out"):
            job.lock_out()
        with job.timed("teardown"):
            job.open_cover()
            job.take_out(low)
        with job.timed("swaps"):
            job.swap(low, self.stock.good(stay.life.kind)[0])
        stay.day, stay.minutes = self.calendar.workday(-1), 10.0
        with job.timed("reassembly"):
            job.put_back(low)
            job.close_cover()
            job.re_energise()
        job.isolation(3.4)
        stay.clear_codes()
        job.rest_check()
        stay.state("open", "road_test")
        return stay

    def _ready(self) -> Stay:
        """Released yesterday, the owner told; not collected yet."""
        stay = self._agreed("ready", -6, "cooling", (-1, EVENING_MIN), after=ORDINARY)
        stay.day, stay.minutes = self.calendar.workday(-2), 40.0
        job = Job(stay)
        with job.timed("lock_out"):
            job.lock_out()
        with job.timed("swaps"):
            job.open_cover()
            stay.swap_parts(("cooling_fan",), job.words["fan"], {"cooling_fan": FAN})
            job.test_slot("main_contactor:plus", {"contact_mohm": 0.5}, "coil_ohm")
            job.test_slot("precharge_resistor", {}, "resistance_ohm")
        with job.timed("reassembly"):
            job.close_cover()
            job.re_energise()
        job.isolation(5.1)
        stay.day, stay.minutes = self.calendar.workday(-1), 20.0
        with job.timed("road_test"):
            stay.clear_codes()
            job.rest_check()
            job.load_check()
        job.release("component_swap")
        desk.call(stay, "ready", "reached")
        return stay

    def _late(self) -> Stay:
        """Promised for a day that has gone by."""
        stay = self._agreed("late", -7, "junction_board", (-1, NOON_MIN), after=ORDINARY)
        job = Job(stay)
        job.leak(LEAKS_AT)
        job.test_slot("main_contactor:plus", {"contact_mohm": 3.1, "welded": True})
        stay.state("waiting", "parts")
        stay.next_day(3)
        desk.call(stay, "other", "reached")
        return stay

    def _agreed(
        self, scene: str, workday: int, cause: str, promised: tuple[int, int],
        how: str = "in_person", after: int = LEFT_ON_THE_ROAD, fits: Fits = lambda life, day: True,
    ) -> Stay:  # fmt: skip
        """A car whose owner has heard the price of a repair and agreed to it."""
        day = self.calendar.workday(workday)
        stay = self._stay(self._pick(day, fits, after=after), workday)
        self._open(stay, scene, promised, "diagnosis")
        read = stay.check_pair(stay.level, suffix="found")
        stay.read_code("P0AA1" if cause == "junction_board" else "P0A80", read)
        stay.fail(cause, "code_set", stay.day)
        repairs.look(stay, cause)
        lines = desk.lines_for(stay, cause, repairs.PARTS.get(cause, ()), 3)
        desk.consent(stay, "extra_work", how=how, of=desk.estimate(stay, lines))
        return stay

    def _gone_yesterday(self) -> Stay:
        """The widest of those known for long: a yearly check, and home the same day."""
        stay = self._stay(self._pick(self.calendar.workday(-1), _long_known), -1)
        self._open(stay, "gone", (-1, EVENING_MIN), "")
        stay.check_pair(stay.level, suffix="found")
        stay.state("closed")
        return stay

    def _quarantined(self) -> Stay:
        """A lithium-ion pack without a car, kept apart since it fell."""
        rows = self.floor.rows.values()
        serial = next(row["serial"] for row in rows if row.get("keeps") == "quarantine")
        stay = self._stay(self.floor.lives[serial], -4)
        jobs.quarantine(stay)
        return stay

    def _bring_rechecks(self) -> None:
        """Repaired a month ago, and expected back this week; one is still to be asked for."""
        for number, (day, booked) in enumerate(RECHECKS):
            opened = self.calendar.open_day(day)
            life = self._pick(opened, after=LEFT_ON_THE_ROAD + number)
            stay = Stay(life, self.books, self.calendar, opened)
            stay.open(self.words["month"])
            read = stay.check_pair(stay.level, suffix="found")
            stay.read_code("P0A80", read)
            stay.fail("module", "code_set", stay.day)
            repairs.repair(stay, "module", self.floor.shelf, covered=False)
            stay.state("closed")
            if booked is not None:
                stay.day = self.calendar.workday(CALLED_SINCE)
                again = self.calendar.workday(booked)
                desk.call(stay, "recheck", "booked", again_day=again, of_visit=False)
            self._keep(stay)

    def _call_about_outlooks(self) -> Iterator[Stay]:
        """Two more of the widest were checked, went home, and were called about it since."""
        for outcome in ("not_reached", "reached"):
            day = self.calendar.open_day(SEEN_D)
            stay = Stay(self._pick(day, _long_known), self.books, self.calendar, day)
            stay.open(self.words["gone"])
            stay.check_pair(stay.level, suffix="found")
            stay.state("closed")
            stay.day = self.calendar.workday(CALLED_SINCE)
            again = self.calendar.workday(0) if outcome == "not_reached" else None
            desk.call(stay, "outlook", outcome, again_day=again, of_visit=False)
            yield stay


def _warranted(life: Life, day: float) -> bool:
    """Whether the pack, read by modules or blocks, was repaired and its warranty runs that day."""
    if life.warranty is None or not life.repairs or life.kind.reads_cells:
        return False
    _, last_day, last_km = life.warranty
    return day < last_day - RESTED_D and life.km(day) < last_km


def _long_known(life: Life, day: float) -> bool:
    """Whether the pack was checked several times since anything was changed in it."""
    return life.stays >= LONG_KNOWN_STAYS and not life.repairs


def _by_modules(life: Life, day: float) -> bool:
    """Whether a meter reads the modules of the pack one by one."""
    return not life.kind.reads_cells


def fill(floor: Floor, stock: Stockroom) -> None:
    """Bring into the shop what stands in it this morning."""
    Present(floor, stock).fill()
