"""What the made-up shop does about a pack: parts, modules, a rebuild, another pack, or nothing."""

from collections.abc import Mapping
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray

from shop.demo import desk, mechanism
from shop.demo.books import Books, stock_of
from shop.demo.mechanism import Floats, Stock
from shop.demo.stays import Life, Stay

LOW_SHARE = 0.35  # of the type's limit below the median: the bench takes a module for low
MOST_SWAPPED = 5  # modules; beyond, the bench rebuilds
REBUILD_SHARE = 0.3  # of the modules low: a rebuild instead of a swap
OWNER_AGREES = 0.2  # share of owners who have a pack over its limit repaired before it fails
OWNER_ASKED = 0.4  # of the others: who hear the price and think it over
NAMED_SHARE = 0.65  # of swaps whose modules bear a tag
OPEN_CLAIM_D = -60  # claims younger than this are not decided yet
GOODWILL_D = 150  # days after its end in which a warranty is still shown some goodwill
GOODWILL_KM = 6_000

PARTS = {
    "connection": ("bus_bar",), "sense_lead": ("sense_harness",), "cooling": ("cooling_fan",),
    "sensor": ("temperature_sensor:2",),
    "junction_board": ("main_contactor:plus", "precharge_resistor"),
}  # fmt: skip
FOUND = {
    "connection": ("bus bar", "loose_joint"), "sense_lead": ("sense harness", "damaged_lead"),
    "cooling": ("cooling fan", "fan_fault"), "isolation": ("module", "residue"),
    "leak": ("module", "residue"), "junction_board": ("main contactor", "heat_marks"),
    "module": ("terminal", "corrosion"), "capacity": ("module", "swelling"),
}  # fmt: skip


class Shelf:
    """Packs and modules that the shop can put in."""

    def __init__(self, books: Books) -> None:
        self.books = books
        self.packs: list[str] = []

    def buy(self, stay: Stay) -> None:
        """The car is lost; its pack is bought and goes on the shelf."""
        stay.take_out()
        stay.status("shelf")
        stay.state("closed")
        self.packs.append(stay.life.serial)

    def pick(self, life: Life, lives: Mapping[str, Life]) -> Life | None:
        """A pack of the same type from the shelf, the one there longest."""
        fitting = [serial for serial in self.packs if lives[serial].kind is life.kind]
        if not fitting:
            return None
        self.packs.remove(fitting[0])
        return lives[fitting[0]]

    def source(self, stay: Stay) -> tuple[dict[str, str], Stock, str]:
        """Where new modules come from that day: how the register names it, how good it is."""
        age = -stay.day
        lots = [row for row in self.books.lots if row["received_days_before"] > age]
        donors = [
            row
            for row in self.books.donor_packs
            if row["bought_days_before"] > age and row["pack_type"] == stay.life.kind.code
        ]
        choice = [*lots[-2:], *donors]
        row = choice[int(stay.rng.integers(len(choice)))]
        if "code" in row:
            return {"lot": row["code"]}, stock_of(row), row["code"].removeprefix("LOT-")
        return {"donor_pack": row["serial"]}, stock_of(row), "X" + row["serial"].partition("-")[2]


def decide(
    stay: Stay, cause: str, read: Floats, shelf: Shelf, lives: Mapping[str, Life]
) -> Stay | None:
    """What is done on a visit; the stay of the exchange pack where one takes the car over."""
    share = float(np.nanmax(read) - np.nanmin(read)) / stay.life.kind.limit_v
    if share > 1 and not cause and stay.rng.random() < OWNER_AGREES:
        cause = _seen(stay)
    if not cause:
        look(stay, None)
        if share > 1 and stay.rng.random() < OWNER_ASKED:
            _tell_price(stay, _seen(stay), given=False)
        stay.state("closed")
        desk.warn(stay, share)
        return None
    covered = _claim(stay, cause)
    look(stay, cause)
    if not covered:
        _tell_price(stay, cause, given=True)
    if desk.keeps_papers(stay):
        stay.state("waiting", "parts")
    stay.next_day(int(stay.rng.integers(1, 4)))
    if cause == "accident" or (cause in {"module", "capacity"} and _past_repair(stay)):
        exchange = shelf.pick(stay.life, lives)
        if exchange is not None:
            return _exchange(stay, exchange)
    repair(stay, cause, shelf, covered=covered)
    desk.say_ready(stay)
    stay.state("closed", "")
    return None


def _tell_price(stay: Stay, cause: str, *, given: bool) -> None:
    """The price and the owner's word to it; whoever's car still drives may think it over."""
    if desk.keeps_papers(stay):
        modules = int(stay.rng.integers(1, MOST_SWAPPED + 1))
        lines = desk.lines_for(stay, cause, PARTS.get(cause, ()), modules)
        desk.agree(stay, lines, given=given)


def _seen(stay: Stay) -> str:
    """What the bench takes a wide spread for: the truth where it is a lead or a joint."""
    life = stay.life
    if life.lead is not None and life.lead.day <= stay.day:
        return "sense_lead"
    joint = mechanism.joint_mohm(life.condition, np.array([float(stay.day)]))[0]
    return "connection" if joint.max() * life.kind.reference_a / 1000 > 0.3 else "module"


def _past_repair(stay: Stay) -> bool:
    return stay.life.repairs >= 2 or stay.rng.random() < 0.4


def look(stay: Stay, cause: str | None) -> None:
    """An inspection: always before a repair, now and then besides; a warm pack has dust."""
    rng, notes = stay.rng, stay.books.words["notes"]
    if cause is None and rng.random() > 0.3:
        return
    found = []
    if stay.life.condition.heat_c > 2.0 and rng.random() < 0.7:
        found.append(_finding("air filter", "blocked_filter", int(rng.integers(1, 4)), None, notes))
    if cause in FOUND:
        part, kind = FOUND[cause]
        position = None
        if cause != "cooling":
            position = int(rng.integers(1, stay.life.kind.nature.modules + 1))
        found.append(_finding(part, kind, int(rng.integers(1, 4)), position, notes))
    if not found:
        found.append(_finding("whole pack", "other", 0, None, notes))
    stay.inspect(found, "filter cleaned" if found[0]["finding"] == "blocked_filter" else "")


def _finding(
    part: str, kind: str, grade: int, position: int | None, notes: Mapping[str, str]
) -> dict[str, object]:
    note = notes.get(kind, "")
    return {"part": part, "finding": kind, "grade": grade, "position": position, "note": note}


def _claim(stay: Stay, cause: str) -> bool:
    """Whether the shop pays: the pack is back within its warranty with what was repaired."""
    life = stay.life
    if life.warranty is None:
        return False
    key, last_day, last_km = life.warranty
    days, km = stay.day - last_day, life.km(stay.day) - last_km
    ours = cause in {"module", "capacity", "connection"}
    parts = Decimal(int(stay.rng.integers(60, 400)))
    if days > 0 or km > 0:
        if ours and days < GOODWILL_D and km < GOODWILL_KM:
            stay.claim(key, "refused", stay.books.words["refusals"]["run_out"], parts, parts / 2)
        return False
    decision = "open" if stay.day > OPEN_CLAIM_D else "accepted" if ours else "refused"
    stay.claim(key, decision, "" if ours else "not a part that was repaired", parts)
    return decision == "accepted"


def repair(stay: Stay, cause: str, shelf: Shelf, *, covered: bool) -> None:
    """The work, checks after it, the promise."""
    life, months, km, kind = stay.life, 6, 10_000, "component_swap"
    if cause in {"module", "capacity", "leak"}:
        kind = _renew_modules(stay, cause, shelf)
        months, km = (12, 20_000) if kind == "module_swap" else (24, 40_000)
    elif cause in PARTS:
        _renew_parts(stay, cause)
    stay.next_day()
    stay.check_pair(stay.level, suffix="after")
    life.repairs += 1
    life.fresh_repair = True
    if not covered:
        stay.warrant(kind, months, km)


def _renew_parts(stay: Stay, cause: str) -> None:
    life, slots = stay.life, PARTS[cause]
    if cause == "connection":
        at = int(np.argmin(life.condition.joint_day)) // life.kind.nature.elements_per_module
        slots = (f"bus_bar:{at + 1}",)
        life.condition = mechanism.tighten(life.condition)
    if cause == "sense_lead":
        life.lead = None
    stay.swap_parts(slots, stay.books.words["reasons"].get(cause, ""))


def _renew_modules(stay: Stay, cause: str, shelf: Shelf) -> str:
    """Modules from a lot or a donor pack in place of those that look low; what kind of repair."""
    life, nature = stay.life, stay.life.kind.nature
    below = _below(stay)
    low = np.flatnonzero(below > LOW_SHARE * life.kind.limit_v)
    rebuild = low.size > max(REBUILD_SHARE * nature.modules, MOST_SWAPPED)
    if rebuild:
        modules = np.arange(nature.modules)
    else:
        modules = np.sort(np.argsort(-below)[: max(1, low.size)])
    source, stock, mark = shelf.source(stay)
    fresh = mechanism.make_elements(nature, stay.rng, fitted_day=float(stay.day), stock=stock)
    tags = _label(stay, modules, source, mark)
    reason = stay.books.words["reasons"]["rebuild" if rebuild else cause]
    stay.swap_modules(modules, tags, reason)
    life.condition = mechanism.renew(life.condition, modules, fresh)
    return "rebuild" if rebuild else "module_swap"


def _below(stay: Stay) -> Floats:
    """(modules,) how far each module is below the median under load, V, as the bench reads it."""
    nature = stay.life.kind.nature
    if stay.life.kind.reads_cells:
        read = stay.check_pair("cell", suffix="bench").reshape(nature.modules, -1).min(axis=1)
    else:
        read = stay.check_pair("module", suffix="bench")
    below: Floats = np.median(read) - read
    return below


def _label(
    stay: Stay, modules: NDArray[np.int64], source: Mapping[str, str], mark: str
) -> list[str | None]:
    """A tag for each new module, or none where the bench does not label that day."""
    if stay.rng.random() > NAMED_SHARE:
        return [None] * modules.size
    life, tags = stay.life, []
    cells, named = life.kind.cells_in_series, {"generation": life.kind.generation}
    for _ in range(modules.size):
        life.modules_named += 1
        tag = f"{mark}-{life.serial.partition('-')[2]}-{life.modules_named:02d}"
        entry = {"tag": tag, "form": life.kind.form, "cells": cells, **named, **source}
        stay.tell("module", entry, key=tag)
        tags.append(tag)
    return [*tags]


def _exchange(stay: Stay, life: Life) -> Stay:
    """The pack is condemned; one from the shelf takes its place in the car."""
    old = stay.life
    vehicle = old.vehicle
    assert vehicle is not None
    stay.take_out()
    stay.status("scrapped")
    stay.state("closed", "")
    return take_over(stay, life, vehicle)


def take_over(stay: Stay, life: Life, vehicle: str) -> Stay:
    """The stay in which another pack takes the place of this one in its car."""
    old = stay.life
    other = Stay(life, stay.books, stay.calendar, int(stay.day))
    other.minutes = stay.minutes + 60
    life.km_at_zero, life.km_per_day = old.km_at_zero, old.km_per_day
    other.install(vehicle)
    other.open("exchange pack goes in")
    other.status("in_service")
    other.check_pair(other.level, suffix="after")
    other.warrant("replacement", 24, 40_000)
    other.state("closed")
    life.repairs, life.fresh_repair = 0, True
    return other
