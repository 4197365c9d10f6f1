"""Jobs on the bench of the made-up shop, step by step as its rules ask: locked out to released."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from typing import Any

import numpy as np

from shop.demo import mechanism
from shop.demo.books import Row
from shop.demo.events import Ref
from shop.demo.mechanism import Drive
from shop.demo.stays import Stay
from shop.demo.stockroom import Spare, renewed, true_rest_v

METER, GLOVES, TORQUE_TOOL, ISOLATION = "MTR-1", "GLV-1", "TRQ-1", "ISO-1"
DOER, SECOND, SIGNER = "BK", "RT", "TB"
SOURCE_V = 12.6
READS_V = 0.006  # noise of the meter at a module's terminals, V
EVENED = 0.2  # what is left of the modules' differences after they were charged together
NUTS_PER_BAR = 2
LEAK_OHM, SHUNT_OHM = 60_000.0, 120_000.0


class Job:
    """The work on the pack of one stay; it changes what is true of the pack as it goes."""

    def __init__(self, stay: Stay) -> None:
        stay.bench = DOER
        self.stay, self.kind = stay, stay.life.kind
        self.row: Row = stay.life.kind.row
        self.words = stay.books.words["jobs"]
        self.drive = replace(stay.drive(), current_a=np.zeros(1))

    @property
    def _second(self) -> str | None:
        return SECOND if self.row["second_person"] else None

    def tell(self, step: str, /, **more: Any) -> str:
        """A step of the visit, now."""
        about = {"visit": Ref(f"{self.stay.key}/visit"), "at": self.stay.now(), "done_by": DOER}
        return self.stay.tell(step, {**about, **more})

    @contextmanager
    def timed(self, stage: str) -> Iterator[None]:
        """The clock of a stage, told when it is stopped."""
        began = self.stay.now()
        yield
        about = {"visit": Ref(f"{self.stay.key}/visit"), "stage": stage, "done_by": DOER}
        self.stay.tell("work_time", {**about, "started_at": began, "ended_at": self.stay.now()})

    def look(self) -> None:
        """The cooling first, as every inspection."""
        found = {"part": "air filter", "finding": "blocked_filter", "grade": 2, "position": None}
        self.stay.inspect([{**found, "note": self.words["dust"]}], "filter cleaned")

    def weakest(self) -> int:
        """The position that is lowest under load, each module read by itself."""
        kind, drive = self.kind, self.drive
        self.stay.check("module", "rest", 0.0, drive, METER, "bench")
        read = self.stay.check("module", "load", kind.reference_a, drive, METER, "bench")
        return int(np.argmin(read)) + 1

    def lock_out(self) -> None:
        done = ("key_away", "twelve_v_off", "switch_out", "covers")
        worn = ("gloves_air_tested", "protectors", "eye_protection", "insulated_tools")
        self.stay.minutes += 25
        self.tell(
            "lock_out",
            done=dict.fromkeys(done, True),
            worn=dict.fromkeys(worn, True),
            switch_kept_by=DOER,
            waited_min=float(self.row["waits"]["discharge_min"] + 3),
            meter=METER,
            gloves=GLOVES,
            second_person=self._second,
            source_v=SOURCE_V,
            source_before_v=SOURCE_V,
            readings={"plus_minus_v": 0.4, "plus_case_v": 0.1, "minus_case_v": -0.2},
            source_after_v=SOURCE_V - 0.1,
            note=self.words["kept_with"],
        )

    def open_cover(self) -> None:
        for part in ("cover", "duct"):
            self.tell("teardown", part=part, fasteners=self._whole(part))

    def take_out(self, position: int) -> None:
        """One module, with the clamps and the bus bars on both sides of it."""
        joints = self.joints(position)
        nuts = {"kind": "bus-bar nut", "count": NUTS_PER_BAR * len(joints)}
        lay = [self._lay(at) for at in self.touched(position)]
        paint = {"torque_paint": "intact"}
        self.tell(
            "teardown", part="bus_bar", places=joints, fasteners=[{**nuts, **paint}], seen=lay
        )
        self.tell("teardown", part="clamp", fasteners=self._whole("clamp"))
        self.tell("teardown", part="module", places=[position])

    def joints(self, position: int) -> list[int]:
        """The bus bars beside a position, each by the module that it follows."""
        last, switch = self.row["module_count"], self.row["switch_after"]
        return [at for at in (position - 1, position) if 1 <= at < last and at != switch]

    def touched(self, position: int) -> list[int]:
        return sorted({place for at in self.joints(position) for place in (at, at + 1)})

    def swap(self, position: int, spare: Spare) -> None:
        stay = self.stay
        fresh = renewed(float(stay.day), spare, stay.rng)
        stay.swap_modules(np.array([position - 1]), [spare.tag], self.words["removed"])
        stay.life.condition = mechanism.renew(stay.life.condition, np.array([position - 1]), fresh)

    def put_back(self, position: int) -> None:
        """The module and what is measured before it is joined; then each half alone."""
        seat = {"position": position, "orientation": self._lay(position)["orientation"]}
        self.tell("reassembly", kind="fitted", part="module", places=[position], seen=[seat])
        volts, beside = self._rest_v(), self._beside(position)
        middle = sum(volts[at - 1] for at in beside) / len(beside)
        equal = [
            {"position": at, "rest_v": round(middle + EVENED * (volts[at - 1] - middle), 2)}
            for at in beside
        ]
        note = self.words["equalised"]
        self.tell("reassembly", kind="equalised", readings=equal, meter=METER, note=note)
        self.measure(self._blocks_of(self.touched(position)))
        joints = self.joints(position)
        nuts = self._tight("bus-bar nut", NUTS_PER_BAR * len(joints))
        self.tell("reassembly", kind="fitted", part="bus_bar", places=joints, fasteners=[nuts])
        volts, after = self._rest_v(), self.row["switch_after"]
        for half, own in ((1, volts[:after]), (2, volts[after:])):
            told = {"half": half, "half_v": round(sum(own) + 0.02, 2), "meter": METER}
            self.tell("reassembly", kind="half", **told)
        clamps = [self._tight(row["kind"], row["count"]) for row in self._whole("clamp")]
        self.tell("reassembly", kind="fitted", part="clamp", fasteners=clamps)

    def measure(self, positions: Sequence[int]) -> None:
        """Rest voltages with their sign, before the last bus bar of each."""
        volts, rng = self._rest_v(), self.stay.rng
        readings = [
            {"position": at, "rest_v": round(volts[at - 1] + float(rng.normal(0.0, READS_V)), 2)}
            for at in positions
        ]
        self.tell("reassembly", kind="polarity", readings=readings, meter=METER)

    def _beside(self, position: int) -> list[int]:
        """A position and its neighbours."""
        last = self.row["module_count"]
        return [at for at in (position - 1, position, position + 1) if 1 <= at <= last]

    def close_cover(self) -> None:
        for part in ("duct", "cover"):
            fasteners = [{"kind": row["kind"], "count": row["count"]} for row in self._whole(part)]
            self.tell("reassembly", kind="fitted", part=part, fasteners=fasteners)

    def re_energise(self) -> None:
        done = ("tools_out", "tools_counted", "covers_on", "everybody_clear")
        told = {"done": dict.fromkeys(done, True), "second_person": self._second}
        self.tell("re_energising", **told)

    def isolation(self, megohm: float) -> None:
        """As a tester read it."""
        pack_v = round(sum(self._rest_v()), 1)
        read = {"pack_v": pack_v, "test_v": 500.0, "isolation_ohm": megohm * 1e6}
        told = {"scope": "in_car", "method": "tester", "equipment": ISOLATION}
        self.tell("isolation_check", **told, **read)

    def leak(self, from_minus: float) -> None:
        """By two voltages, with one leak at a share of the voltage from the minus end."""
        pack_v = sum(self._rest_v())
        minus_v, plus_v = pack_v * from_minus, pack_v * (1 - from_minus)
        higher_v = max(minus_v, plus_v)
        shunted_v = 1 / (LEAK_OHM / (higher_v / pack_v) / (SHUNT_OHM * pack_v) + 1 / higher_v)
        volts = {"pack_v": pack_v, "plus_case_v": plus_v, "minus_case_v": minus_v}
        read = {name: round(v, 1) for name, v in {**volts, "shunted_v": shunted_v}.items()}
        told = {"scope": "in_car", "method": "two_voltages", "wet": True, "equipment": METER}
        self.tell("isolation_check", **told, **read, shunt_ohm=SHUNT_OHM, note=self.words["leak"])

    def match(self, position: int, spares: Sequence[Spare]) -> None:
        """A module for the place, kept for this visit."""
        self.tell(
            "matching",
            pack=self.stay.life.serial,
            positions=[position],
            candidates=[spare.tag for spare in spares],
            form=self.kind.form,
            generation=self.kind.generation,
            reserve=True,
        )

    def test_slot(self, slot: str, measured: dict[str, Any], *rated: str) -> None:
        """A part where it sits; of `rated` figures it reads a little above its rating."""
        asked = next(row["ratings"] for row in self.row["slots"] if row["slot"] == slot)
        near = {name: round(1.02 * asked[name], 1) for name in rated}
        self.tell("part_test", slot=slot, measured={**measured, **near}, equipment=METER)

    def rest_check(self) -> None:
        self.stay.check(self.stay.level, "rest", 0.0, self.drive, METER, "after")

    def load_check(self) -> None:
        current_a = self.kind.reference_a
        self.stay.check(self.stay.level, "load", current_a, self.drive, METER, "after")

    def release(self, repair_kind: str) -> None:
        road = {"distance_km": 14.0, "minutes": 25, "highest_current_a": 88.0}
        self.tell(
            "release",
            codes_clear=True,
            road_test=road,
            odometer_km=self.stay.life.km(self.stay.day) + 14,
            warranty={"repair_kind": repair_kind},
        )

    def _rest_v(self) -> list[float]:
        still: Drive = self.drive
        return true_rest_v(self.stay.life.condition, still)

    def _blocks_of(self, positions: Sequence[int]) -> list[int]:
        """All positions of the blocks that these lie in."""
        each = self.row["modules_per_block"]
        blocks = sorted({(at - 1) // each for at in positions})
        return [block * each + place for block in blocks for place in range(1, each + 1)]

    def _whole(self, part: str) -> list[dict[str, Any]]:
        """All fasteners of a part, by kind and count."""
        return [
            {"kind": row["kind"], "count": row["count"]}
            for row in self.row["fasteners"]
            if row["part"] == part
        ]

    def _tight(self, kind: str, count: int) -> dict[str, Any]:
        """Tightened as the type asks."""
        asked = next(row for row in self.row["torques"] if row["fastener"] == kind)
        told = {"kind": kind, "count": count, "torque_nm": asked["torque_nm"], "tool": TORQUE_TOOL}
        return {**told, "order": asked.get("order", ""), "paint": asked.get("paint", False)}

    def _lay(self, position: int) -> dict[str, Any]:
        """How a position lies, as the type says."""
        row = self.row["positions"][position - 1]
        told = {name: row[name] for name in ("sense_lead", "clip", "sensor") if name in row}
        return {"position": position, "orientation": row.get("orientation", "normal"), **told}


def quarantine(stay: Stay) -> None:
    """A lithium-ion pack that fell: found to swell, and decided how it may travel."""
    words = stay.books.words
    stay.bench = SIGNER
    stay.open(words["present"]["quarantine"])
    found = {"part": "module", "finding": "swelling", "grade": 3, "position": 1}
    stay.inspect([{**found, "note": words["jobs"]["swollen"]}], words["jobs"]["quarantined"])
    decided = {
        "at": stay.now(),
        "done_by": SIGNER,
        "condition": "damaged_or_defective",
        "un_number": "UN 3480",
        "qualification": "dangerous goods, road",
        "reasons": words["jobs"]["shipping"],
        "packing": words["jobs"]["packing"],
    }
    stay.tell("shipping_decision", stay.about(**decided))
    stay.state("closed")
