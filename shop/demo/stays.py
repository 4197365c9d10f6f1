"""One stay of a pack in the shop: each step is told as an event, minutes after it was done."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

import numpy as np
from numpy.typing import NDArray

from shop.demo import mechanism
from shop.demo.books import Books, Kind
from shop.demo.calendar import Calendar
from shop.demo.events import Event, Ref
from shop.demo.mechanism import Condition, Drive, Floats

WRITTEN_DOWN_MIN = (2, 14)  # minutes between doing a thing and telling the register
BENCH = ("BK", "RT", "JW")
UNREAD_SHARE = 0.0004  # of readings that a scan fails to take


@dataclass(frozen=True)
class Lead:
    """A bad sense lead between a position and the next, from a day on: V read too low and high."""

    position: int
    day: float
    error_v: float


@dataclass
class Life:
    """A pack as it goes through the years: what is true of it, and how far its records are."""

    serial: str
    kind: Kind
    condition: Condition
    rng: np.random.Generator
    built_day: int
    vehicle: str | None
    km_at_zero: float
    km_per_day: float
    lead: Lead | None = None
    tags: dict[int, str] = field(default_factory=dict)
    stays: int = 0
    repairs: int = 0
    warranty: tuple[str, float, float] | None = None  # key, last day, last km
    version: int = 1
    installation: Mapping[str, Any] | None = None
    modules_named: int = 0
    fresh_repair: bool = False

    def km(self, day: float) -> int:
        return max(0, round(self.km_at_zero + self.km_per_day * day))


class Stay:
    """Tells the steps of one stay; the clock goes on with each."""

    def __init__(self, life: Life, books: Books, calendar: Calendar, day: int) -> None:
        life.stays += 1
        self.life, self.books, self.calendar = life, books, calendar
        self.rng = life.rng
        self.day: float = day
        self.minutes = float(self.rng.integers(0, 180))
        self.key = f"{life.serial}/{life.stays}"
        self.events: list[Event] = []
        self.codes: list[tuple[str, Mapping[str, Any]]] = []
        self.told = 0
        self.version = 1
        self.bench = str(self.rng.choice(BENCH, p=(0.5, 0.3, 0.2)))

    def next_day(self, days: int = 1) -> None:
        self.day = self.calendar.open_day(self.day + days)
        self.minutes = float(self.rng.integers(0, 90))

    def tell(
        self, kind: str, entry: Mapping[str, Any], *, by: str | None = None, **more: Any
    ) -> str:
        """Add an event of this pack; the key it is told under."""
        self.told += 1
        key = str(more.pop("key", f"{self.key}/{kind}/{self.told}"))
        late = int(self.rng.integers(*WRITTEN_DOWN_MIN))
        at = self.calendar.at(self.day, self.minutes + late)
        self.events.append(Event(at, kind, key, entry, self.life.serial, by or self.bench, **more))
        self.minutes += late + float(self.rng.integers(1, 20))
        return key

    def now(self) -> Any:
        return self.calendar.at(self.day, self.minutes)

    def open(self, complaint: str, *, vehicle: str | None = None, **more: Any) -> None:
        entry = {
            "pack": self.life.serial,
            "vehicle": vehicle or self.life.vehicle,
            "opened_at": self.now(),
            "complaint": complaint,
            "odometer_km": self._km(),
            **more,
        }
        self.tell("visit", entry, key=f"{self.key}/visit", by="DS")

    def _km(self) -> int | None:
        return None if self.life.vehicle is None else self.life.km(self.day)

    def state(self, state: str, waits_for: str | None = None) -> None:
        """How the stay goes on, and what it waits for where that is another thing."""
        entry = {"state": state} if waits_for is None else {"state": state, "waits_for": waits_for}
        self.tell("visit_state", entry, key=f"{self.key}/visit", version=self.version)
        self.version += 1

    def status(self, status: str) -> None:
        version = self.life.version
        self.tell("pack_status", {"status": status}, key=self.life.serial, version=version)
        self.life.version += 1

    def about(self, **more: Any) -> dict[str, Any]:
        return {"pack": self.life.serial, "visit": Ref(f"{self.key}/visit"), **more}

    @property
    def level(self) -> str:
        """The level that the car itself is read at."""
        return "cell" if self.life.kind.reads_cells else "block"

    def check_pair(self, level: str, *, suffix: str, alone: bool = False) -> Floats:
        """A rest and a load check in one go; what the load check read, V (p,)."""
        meter = self._meter(level)
        drive = self.drive()
        if not alone:
            rest = float(self.rng.choice([0.0, 0.4, 0.8, 1.5]))
            self.check(level, "rest", rest, drive, meter, suffix)
        return self.check(level, "load", float(drive.current_a[0]), drive, meter, suffix)

    def drive(self) -> Drive:
        """How the pack is loaded today, and how warm and full it is."""
        season = {"day_of_year": self.calendar.day_of_year, "mean_c": 16.0, "swing_c": 9.0}
        air = float(mechanism.season_c(np.array(self.day), **season))  # type: ignore[arg-type]
        warm = air + 5.0 + self.life.condition.heat_c + float(self.rng.normal(0.0, 2.0))
        exact = self.rng.random() < 0.3
        share = 1.0 if exact else float(self.rng.uniform(0.88, 1.12))
        return Drive(
            day=np.array([float(self.day)]),
            current_a=np.array([round(self.life.kind.reference_a * share, 1)]),
            temperature_c=np.array([round(2 * warm) / 2]),
            soc=np.array([float(self.rng.uniform(0.48, 0.66))]),
        )

    def _meter(self, level: str) -> str:
        if self.life.kind.reads_cells:
            return "SCN-2"
        if level == "module":
            return str(self.rng.choice(["MTR-1", "MTR-2"], p=(0.8, 0.2)))
        return str(self.rng.choice(["SCN-1", "MTR-1", "MTR-2"], p=(0.65, 0.22, 0.13)))

    def check(
        self, level: str, condition: str, current_a: float, drive: Drive, meter: str, suffix: str
    ) -> Floats:
        """One check through a meter with its noise; the volts as read, (p,)."""
        at = Drive(drive.day, np.array([current_a]), drive.temperature_c, drive.soc)
        read = self._read(level, at, meter)
        self.tell("voltage_check", self._entry(level, condition, at, read, meter, suffix))
        return read

    def _read(self, level: str, drive: Drive, meter: str) -> Floats:
        life, kind = self.life, self.life.kind
        true_v = mechanism.voltages(life.condition, drive)
        if level == "block":
            true_v = mechanism.by_block(true_v, kind.sizes, kind.nature)
        read = true_v[0].copy()
        if life.lead is not None and self.day >= life.lead.day and level != "module":
            read[life.lead.position] -= life.lead.error_v
            read[life.lead.position + 1] += life.lead.error_v
        noise_v = self.books.noise_v[meter]
        digits = 2 if meter == "SCN-1" else 3
        shown: Floats = np.round(read + self.rng.normal(0.0, noise_v, read.size), digits)
        return shown

    def _entry(
        self, level: str, condition: str, drive: Drive, read: Floats, meter: str, suffix: str
    ) -> dict[str, Any]:
        scanned = meter.startswith("SCN")
        lost = scanned & (self.rng.random(read.size) < UNREAD_SHARE)
        warm = float(drive.temperature_c[0])
        return self.about(
            taken_at=self.now(),
            level=level,
            condition=condition,
            current_a=float(drive.current_a[0]),
            voltages_v=[None if gone else float(v) for v, gone in zip(read, lost, strict=True)],
            set=f"{self.key}/{suffix}",
            soc_pct=float(round(100 * float(drive.soc[0]))) if scanned else None,
            soc_source="monitor" if scanned else None,
            temperature_c=warm,
            temperatures_c=_spots(warm) if scanned and self.rng.random() < 0.4 else None,
            odometer_km=self._km(),
            condition_s=10.0 if condition == "load" else None,
            rested_min=None if condition == "load" else float(self.rng.choice([5, 10, 30])),
            taken="together" if scanned else "one_by_one",
            equipment=meter,
            done_by=self.bench,
        )

    def inspect(self, findings: Sequence[Mapping[str, Any]], action: str) -> None:
        entry = self.about(at=self.now(), findings=findings, action=action, done_by=self.bench)
        self.tell("inspection", entry)

    def fail(self, cause: str, how: str, day: float) -> None:
        failed_on = self.calendar.date(min(day, self.day))
        self.tell("failure", self.about(failed_on=failed_on, cause=cause, how_known=how))

    def read_code(self, code: str, volts: Floats | None) -> None:
        """A code with its freeze frame."""
        frame = None
        if volts is not None:
            frame = {"lowest_v": float(volts.min()), "highest_v": float(volts.max()),
                     "odometer_km": self._km()}  # fmt: skip
        entry = {
            "visit": Ref(f"{self.key}/visit"),
            "code": code,
            "control_unit": "battery monitor",
            "status": "confirmed",
            "freeze_frame": frame,
        }
        self.codes.append((self.tell("trouble_code", entry), entry))

    def clear_codes(self) -> None:
        """Every code of the stay is cleared: told again, with when."""
        for key, entry in self.codes:
            self.tell("trouble_code", {**entry, "cleared_at": self.now(), "supersedes": Ref(key)})
        self.codes.clear()

    def swap_parts(
        self, slots: Sequence[str], reason: str, tags: Mapping[str, str] | None = None
    ) -> None:
        """Parts out, others in; `tags` of those that bear one, by slot."""
        named = tags or {}
        changes = [{"slot": slot, "reason": reason, "fitted": named.get(slot)} for slot in slots]
        self._swap("component", changes)

    def swap_modules(
        self, modules: NDArray[np.int64], fitted: Sequence[str | None], reason: str
    ) -> None:
        """Modules (from 0) out, others in; a tag is named where the shop knows it."""
        changes, tags = [], self.life.tags
        for module, tag in zip(modules.tolist(), fitted, strict=True):
            change = {"position": module + 1, "removed": tags.pop(module, None), "fitted": tag}
            changes.append({**change, "reason": reason})
            if tag is not None:
                tags[module] = tag
        self._swap("module", changes)
        for change in changes:
            if change["removed"] is not None:
                entry = {"status": "scrapped", "status_reason": reason}
                # Labelled, fitted, taken out: its third version is the one that is scrapped.
                self.tell("module_status", entry, key=str(change["removed"]), version=3)

    def _swap(self, kind: str, changes: Sequence[Mapping[str, Any]]) -> None:
        entry = self.about(done_at=self.now(), kind=kind, changes=changes, done_by=self.bench)
        self.tell("swap", entry)

    def warrant(self, repair_kind: str, months: int, km: int) -> None:
        life, words = self.life, self.books.words
        entry = self.about(
            repair_kind=repair_kind,
            starts_on=self.calendar.date(self.day),
            months=months,
            km=km,
            starts_km=self._km(),
            covers=words["covers"],
            excludes=words["excludes"],
            labour=True,
        )
        key = self.tell("warranty", entry, by="DS")
        life.warranty = (key, self.day + months * 30.4, life.km(self.day) + km)

    def claim(
        self,
        warranty: str,
        decision: str,
        reason: str,
        parts: Decimal,
        goodwill: Decimal | None = None,
    ) -> None:
        paid = decision == "accepted"
        entry = {
            "warranty": Ref(warranty),
            "visit": Ref(f"{self.key}/visit"),
            "decision": decision,
            "reason": reason,
            "parts_cost": parts if paid else None,
            "labour_cost": Decimal("180.00") if paid else None,
            "goodwill": goodwill,
        }
        self.tell("claim", entry, by="MO")

    def install(self, vehicle: str) -> None:
        """The pack sits in this car from now on."""
        life = self.life
        life.vehicle = vehicle
        entry = {
            "pack": life.serial,
            "vehicle": vehicle,
            "installed_at": self.now(),
            "installed_km": life.km(self.day),
        }
        key = self.tell("installation", entry, by="DS")
        life.installation = {**entry, "key": key}

    def take_out(self) -> None:
        """The pack leaves its car: the installation is told again, with its end."""
        life = self.life
        assert life.installation is not None
        told = dict(life.installation)
        old = told.pop("key")
        self.minutes += 30
        entry = {**told, "removed_at": self.now(), "removed_km": life.km(self.day)}
        self.tell("installation", {**entry, "supersedes": Ref(old)}, by="DS")
        life.installation, life.vehicle = None, None


def _spots(warm: float) -> dict[str, float]:
    return {"inlet": warm - 3.0, "middle": warm + 2.5, "outlet": warm + 1.0}
