"""The stock of the made-up shop: modules with tags, their tests, parts, tests to come."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Any

import numpy as np

from shop.demo import mechanism
from shop.demo.books import Books, Kind, Row, stock_of
from shop.demo.calendar import Calendar
from shop.demo.curves import Discharge
from shop.demo.events import Event
from shop.demo.mechanism import Condition, Drive, Elements

SEED = 20_250_214  # of what the stock is made of; any number would do
CHANNELS = 8  # of the module tester
BATCH_D = 9  # days from one batch on the tester to the next
STAND_H = (25, 97, 169)  # hours after charge at which a stand is read
STAND_MV = 4.5  # median loss of a new module, mV a day; assumption
READS_AH, READS_MOHM, READS_MV = 0.008, 0.01, 0.4  # noise of the tester: shares, and mV
TESTED_BY = "RT"


@dataclass(frozen=True)
class Spare:
    """A module on a shelf, and what is true of it; the register learns of it from its tests."""

    tag: str
    kind: Kind
    row: Row
    number: int
    capacity_ah: float
    resistance_mohm: float
    stand_mv: float

    @property
    def donor(self) -> str | None:
        serial: str | None = self.row.get("donor_pack")
        return serial

    @property
    def is_tested(self) -> bool:
        tested = self.row["count"] - self.row.get("untested", 0)
        return "tested_days_before" in self.row and self.number < tested

    @property
    def generation(self) -> str:
        return str(self.row.get("generation", self.kind.generation))

    def misses(self) -> list[str]:
        """Which marks of its type it misses, in words."""
        marks = self.kind.row["pass_marks"]
        told = []
        if self.capacity_ah < marks["capacity_ah"]:
            told.append("too little capacity")
        if self.resistance_mohm > marks["resistance_mohm"]:
            told.append("too much resistance")
        if self.stand_mv > marks["stand_mv_per_day"]:
            told.append("loses charge at stand")
        return told

    @property
    def is_clearly_good(self) -> bool:
        """Good whatever the tester's noise says."""
        return self.is_tested and not self._by(0.94).misses()

    def _by(self, share: float) -> "Spare":
        return replace(
            self,
            capacity_ah=self.capacity_ah * share,
            resistance_mohm=self.resistance_mohm / share,
            stand_mv=self.stand_mv / share + 1.0,
        )


class Stockroom:
    """What lies there and how it was tested."""

    def __init__(self, books: Books, calendar: Calendar) -> None:
        self.books, self.calendar = books, calendar
        lots = books.read("lots")
        rows = [*lots["modules_on_the_shelf"], *lots["modules_from_donors"]]
        self.spares = [
            spare for place, row in enumerate(rows) for spare in _spares(books, place, row)
        ]

    def good(self, kind: Kind) -> list[Spare]:
        """Tested and good, of the generation that the packs of the type have."""
        return [
            spare
            for spare in self.spares
            if spare.kind is kind
            and spare.is_clearly_good
            and spare.generation == kind.generation
            and "status" not in spare.row
        ]

    def told(self) -> Iterator[Event]:
        """The modules, their tests and what came of them; parts; tests to come; a near miss."""
        for spare in self.spares:
            yield self._labelled(spare)
            if spare.is_tested:
                yield from self._tests(spare)
                yield from self._judged(spare)
        yield from self._parts()
        yield from self._planned()
        for number, row in enumerate(self.books.bench["incidents"]):
            told = {name: row[name] for name in ("kind", "harm", "what", "action", "done_by")}
            at = self.calendar.at(self.calendar.open_day(-row["days_before"]), 320)
            yield Event(at, "incident", f"incident {number}", {**told, "at": at}, by="MO")

    def _labelled(self, spare: Spare) -> Event:
        source = {name: spare.row[name] for name in ("lot", "donor_pack") if name in spare.row}
        said = ("status", "status_reason", "shelf")
        entry = {
            "tag": spare.tag,
            "form": spare.kind.form,
            "cells": spare.kind.cells_in_series,
            "generation": spare.generation,
            **source,
            **{name: spare.row[name] for name in said if name in spare.row},
        }
        at = self.calendar.at(-self._came(spare) + 3, 200)
        return Event(at, "module", spare.tag, entry, spare.donor, TESTED_BY)

    def _came(self, spare: Spare) -> int:
        """Days before today on which it came."""
        if spare.donor is not None:
            return int(self._donor(spare.donor)["bought_days_before"])
        lot = next(lot for lot in self.books.lots if lot["code"] == spare.row["lot"])
        return int(lot["received_days_before"])

    def _donor(self, serial: str) -> Row:
        return next(row for row in self.books.donor_packs if row["serial"] == serial)

    def _tests(self, spare: Spare) -> Iterator[Event]:
        """Two cycles on the tester, a pulse, and a week's stand, as one batch after another."""
        rng = np.random.default_rng([SEED, spare.number, len(spare.tag), int(spare.tag[-2:])])
        batch, channel = divmod(spare.number, CHANNELS)
        day = self.calendar.open_day(-spare.row["tested_days_before"] + BATCH_D * batch)
        if spare.number < spare.row.get("curves", 0):
            yield self._test(spare, "capacity", day, 5, 20, self._curve(spare))
        else:
            for cycle, share in ((2, 0.988), (3, 1.0)):
                read = spare.capacity_ah * share * float(rng.normal(1.0, READS_AH / 4))
                told = {"measured": {"capacity_ah": round(read, 3)}, "cycle": cycle}
                yield self._test(spare, "capacity", day, 150 * (cycle - 1), 130, told, channel + 1)
        yield self._test(spare, "resistance", day + 1, 30 + 4 * channel, 2, _pulse(spare, rng))
        began = self.calendar.at(day + 1, 90)
        stand = {"measured": {"readings": _stand(spare, rng, began)}, "ended_at": None}
        yield self._test(spare, "stand", day + 1, 90, 60 * STAND_H[-1], stand)

    def _test(
        self,
        spare: Spare,
        kind: str,
        day: int,
        minutes: int,
        lasts_min: int,
        told: dict[str, Any],
        channel: int | None = None,
    ) -> Event:
        began = self.calendar.at(day, minutes)
        ended = began + timedelta(minutes=lasts_min)
        entry = {
            "module": spare.tag,
            "kind": kind,
            "pack_type": spare.kind.code,
            "started_at": began,
            "ended_at": ended,
            "temperature_c": 21.5,
            "equipment": "MTR-1" if kind == "stand" else "CYC-1",
            "channel": "" if channel is None else str(channel),
            "done_by": TESTED_BY,
            **told,
        }
        name = f"test {spare.tag} {kind} {entry.get('cycle', '')}".strip()
        at = ended + timedelta(hours=20 if kind == "capacity" and channel is None else 0, minutes=5)
        return Event(at, "module_test", name, entry, spare.donor, TESTED_BY)

    def _curve(self, spare: Spare) -> dict[str, Any]:
        """Three cycles as logged; of the lot without test sheets a cell gives up early."""
        protocol, nature = spare.kind.row["protocol"], spare.kind.nature
        shares = (0.955, 0.988, 1.0)
        drawn = Discharge(
            cells=spare.kind.cells_in_series,
            current_a=protocol["discharge_a"],
            capacities_ah=tuple(round(spare.capacity_ah * share, 3) for share in shares),
            mohm=spare.resistance_mohm,
            empty_v=nature.empty_v,
            full_v=nature.full_v,
            cut_off_cell_v=protocol["cut_off_cell_v"],
            weak_share=0.85 if spare.row["lot"] == "LOT-C" else 1.0,
        )
        return {"series": drawn, "measured": {}, "ended_at": None}

    def _judged(self, spare: Spare) -> Iterator[Event]:
        """What missed a mark is put aside where the shop was consistent that day."""
        missed = spare.misses()
        if missed and "failed" in spare.row:
            status = spare.row["failed"]
            changes = {"status": status, "status_reason": f"{', '.join(missed)} in its test"}
            tested = self.calendar.open_day(-spare.row["tested_days_before"]) + BATCH_D + 2
            at = self.calendar.at(tested, 60 + spare.number)
            yield Event(at, "module_status", spare.tag, changes, spare.donor, TESTED_BY, version=1)

    def _parts(self) -> Iterator[Event]:
        told = ("tag", "kind", "part_number", "ratings", "donor_pack", "status", "status_reason")
        for row in self.books.bench["parts"]:
            entry = {name: row[name] for name in told if name in row}
            at = self.calendar.at(-row["told_days_before"], 150)
            yield Event(at, "component", row["tag"], entry, by="RT")
        for number, row in enumerate(self.books.bench["part_tests"]):
            at = self.calendar.at(self.calendar.open_day(-row["days_before"]), 180)
            said = {name: row[name] for name in ("component", "measured", "equipment")}
            entry = {**said, "at": at, "done_by": "BK"}
            yield Event(at, "part_test", f"part test {number}", entry, by="BK")

    def _planned(self) -> Iterator[Event]:
        """Tests of those that nobody has measured yet; one lies on the tester."""
        waiting = [s for s in self.spares if not s.is_tested and "status" not in s.row]
        for spare, row in zip(waiting, self.books.bench["planned_tests"], strict=True):
            planned = self.calendar.at(self.calendar.workday(row["planned_workdays"]), 400)
            due = self.calendar.at(self.calendar.workday(row["due_workdays"]), 480)
            entry = {
                "module": spare.tag,
                "kind": row["kind"],
                "channel": row["channel"],
                "equipment": "CYC-1",
                "planned_at": planned,
                "due_at": due,
                "note": row.get("note", ""),
                "done_by": TESTED_BY,
            }
            yield Event(planned, "planned_test", f"planned {spare.tag}", entry, by=TESTED_BY)
            if row.get("on_test"):
                at, changes = planned + timedelta(minutes=15), {"status": "on_test"}
                yield Event(at, "module_status", spare.tag, changes, by=TESTED_BY, version=1)


def _spares(books: Books, place: int, row: Row) -> Sequence[Spare]:
    """As many as the row says, of the quality of their lot or donor."""
    kind = books.kinds[row["pack_type"]]
    origin = next(
        one
        for one in (*books.lots, *books.donor_packs)
        if row.get("lot") == one.get("code", "") or row.get("donor_pack") == one.get("serial", "")
    )
    rng = np.random.default_rng([SEED, place])
    pack = mechanism.make_pack(kind.nature, rng, built_day=-1.0, first_day=-1.0)
    drawn = [_true(pack, kind, origin, rng) for _ in range(row["count"])]
    mark = _mark(row)
    return [
        Spare(f"{mark}{number + 1:02d}", kind, row, number, *figures)
        for number, figures in enumerate(drawn)
    ]


def _mark(row: Row) -> str:
    if "lot" in row:
        return f"{row['lot'].removeprefix('LOT-')}-{row['pack_type'][0]}"
    return f"X{row['donor_pack'].partition('-')[2]}-"


def _true(
    pack: Condition, kind: Kind, origin: Row, rng: np.random.Generator
) -> tuple[float, float, float]:
    """Capacity Ah, resistance mΩ and loss at stand mV a day of one module."""
    stock = stock_of(origin)
    made = mechanism.make_elements(kind.nature, rng, fitted_day=0.0, stock=stock)
    aged, now = replace(pack, elements=made), np.zeros(1)
    each = kind.nature.elements_per_module
    loss = STAND_MV * (1 + stock.aged_years / 12) * float(rng.lognormal(0.0, 0.35))
    return (
        float(mechanism.capacity_ah(aged, now)[0, :each].min()),
        float(mechanism.resistance_mohm(aged, now)[0, :each].sum()),
        loss * kind.row["pass_marks"]["stand_mv_per_day"] / 12,
    )


def _pulse(spare: Spare, rng: np.random.Generator) -> dict[str, Any]:
    """Rest, then a pulse of the type's protocol."""
    protocol, nature = spare.kind.row["protocol"], spare.kind.nature
    mohm = spare.resistance_mohm * float(rng.normal(1.0, READS_MOHM))
    rest_v = spare.kind.cells_in_series * (nature.empty_v + nature.full_v) / 2
    under_v = rest_v - protocol["pulse_a"] * mohm / 1000
    read = {"u1_v": round(rest_v, 3), "i1_a": 0.0, "u2_v": round(under_v, 3)}
    return {
        "measured": {**read, "i2_a": protocol["pulse_a"], "pulse_s": protocol["pulse_s"]},
        "charge_before_ah": spare.kind.nature.cell_ah / 2,
        "rest_before_min": protocol["rest_min"],
    }


def _stand(spare: Spare, rng: np.random.Generator, began: Any) -> list[dict[str, Any]]:
    """Readings that fall a little from day to day."""
    full_v = spare.kind.cells_in_series * spare.kind.nature.full_v - 0.2
    return [
        {
            "at": began + timedelta(hours=hours),
            "voltage_v": round(
                full_v - (spare.stand_mv * hours / 24 + float(rng.normal(0.0, READS_MV))) / 1000, 4
            ),
            "temperature_c": 21.0 + 0.5 * (hours == STAND_H[1]),
        }
        for hours in STAND_H
    ]


def renewed(life_day: float, spare: Spare, rng: np.random.Generator) -> Elements:
    """Elements for a pack into which this very module goes."""
    nature = spare.kind.nature
    made = mechanism.make_elements(nature, rng, fitted_day=life_day, stock=mechanism.Stock())
    count = nature.elements
    return replace(
        made,
        new_mohm=np.full(count, spare.resistance_mohm / nature.elements_per_module),
        new_ah=np.full(count, spare.capacity_ah),
    )


def true_rest_v(condition: Condition, drive: Drive) -> list[float]:
    """What each module shows without current, V."""
    still = replace(drive, current_a=np.zeros(1))
    volts = mechanism.voltages(condition, still)[0]
    each = condition.nature.elements_per_module
    return [float(one) for one in volts.reshape(-1, each).sum(axis=1)]
