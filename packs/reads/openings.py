"""How the pack of a visit lies open: what is out, what was counted, and what is proved again."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
from django.db.models import Q

from packs.models import PackType, Reassembly, SwapChange, Teardown, Visit, VoltageCheck
from packs.reads import lock_outs
from packs.rules import sum_check, ways_round
from packs.rules.fasteners import Tally, tally
from packs.rules.layouts import Layout, Seat
from packs.rules.openings import (
    Clash,
    Event,
    Item,
    State,
    String,
    new_clashes,
    replay,
    shows_plus,
    unequal,
    wrong_way,
)
from packs.rules.sum_check import Load, Reading, Verdict
from packs.rules.voltages import to_volts

SWITCH = "service_switch"


@dataclass(frozen=True)
class Half:
    """One half of the string: its positions, its verdict where it was measured, what it wants."""

    number: int
    first: int
    last: int
    verdict: Verdict | None
    said: str

    @property
    def agrees(self) -> bool:
        return self.verdict is not None and self.verdict.kind == "agrees"


@dataclass(frozen=True)
class Opening:
    """The pack of a visit as the steps that count left it.

    `out`: taken out and not back; `joints_open`: the modules after which the string is open, that
    of the switch included; `polarity`: rest voltages by position, V, since each was last open;
    `seen`: how each position lay when it was taken apart, else as the type says, which has the
    last word on the way round; `changed`: positions whose module was taken out or changed, and
    `equalised` None where there is none.
    """

    begun: bool
    out: tuple[Item, ...]
    fasteners: tuple[Tally, ...]
    joints_open: frozenset[int]
    touched: frozenset[int]
    polarity: Mapping[int, float]
    polarity_missing: tuple[int, ...]
    polarity_wrong: tuple[int, ...]
    halves: tuple[Half, ...]
    equalised: bool | None
    changed: frozenset[int]
    seen: Mapping[int, Seat]

    @property
    def left(self) -> Mapping[str, int]:
        """By kind, the fasteners that came out and are not back."""
        return {row.kind: row.left for row in self.fasteners if row.left > 0}

    @property
    def out_said(self) -> tuple[str, ...]:
        """What is still out, a sentence each."""
        parts = [f"{item.name[0].upper()}{item.name[1:]} is still out." for item in self.out]
        return (*parts, *(row.said for row in self.fasteners if row.left > 0))

    @property
    def unready(self) -> tuple[str, ...]:
        """What is not proved yet before the switch may go in, a sentence each."""
        wants = [wrong_way(at, self.polarity[at]) for at in self.polarity_wrong]
        if self.polarity_missing:
            many = "Position" if len(self.polarity_missing) == 1 else "Positions"
            places = ", ".join(str(at) for at in self.polarity_missing)
            wants.append(f"{many} {places}: polarity not measured since it was open.")
        if self.equalised is False:
            wants.append(unequal(sorted(self.changed)))
        return (*wants, *(half.said for half in self.halves if not half.agrees))


def state(visit: Visit) -> Opening:
    """How the pack of the visit lies now; the visit has a pack."""
    kind = _kind(visit)
    string, layout = string_of(kind), kind.layout
    lying, _ = replay(string, _events(visit), _listed(layout))
    return Opening(
        begun=lying.begun,
        out=tuple(sorted(lying.out, key=_path_order)),
        fasteners=tally(layout.fasteners, lying.came.items(), lying.went.items()),
        joints_open=_joints(visit, string, lying),
        touched=frozenset(lying.touched),
        polarity=dict(sorted(lying.polarity.items())),
        polarity_missing=tuple(sorted(lying.touched - set(lying.polarity))),
        polarity_wrong=_wrong(lying),
        halves=tuple(_halves(visit, kind, lying)),
        equalised=lying.equalised if lying.changed else None,
        changed=frozenset(lying.changed),
        seen=_seen(visit, layout),
    )


def clashes_of(fact: Teardown | Reassembly) -> tuple[Clash, ...]:
    """What a stored step says that can not have been, beside the other steps of its visit."""
    kind = _kind(fact.visit)
    after = list(_events(fact.visit))
    before = [event for event in after if event.key != _key(fact.KIND, fact.pk)]
    return new_clashes(string_of(kind), before, after, _listed(kind.layout))


def is_own(clash: Clash, fact: Teardown | Reassembly) -> bool:
    """Whether the step itself is what clashes, not one that was recorded as later."""
    return clash.key == _key(fact.KIND, fact.pk)


def string_of(kind: PackType) -> String:
    return String(kind.module_count, kind.layout.switch_after)


def _kind(visit: Visit) -> PackType:
    assert visit.pack is not None
    return visit.pack.pack_type


def _listed(layout: Layout) -> dict[str, int]:
    return {fastener.kind: fastener.count for fastener in layout.fasteners}


def _path_order(item: Item) -> tuple[int, str, str]:
    """Along the series path, then what sits in slots or lies over it all."""
    return (10**6 if item.place is None else item.place, item.part, item.slot)


def _wrong(lying: State) -> tuple[int, ...]:
    return tuple(at for at, volts in sorted(lying.polarity.items()) if not shows_plus(volts))


def _joints(visit: Visit, string: String, lying: State) -> frozenset[int]:
    out = {item.place for item in lying.out if item.part == "bus_bar"}
    opened = {at for at in out if at is not None and 1 <= at < string.module_count}
    switch_out = Item(SWITCH) in lying.out or lock_outs.standing(visit) is not None
    if switch_out and string.switch_after is not None:
        opened.add(string.switch_after)
    return frozenset(opened)


def _key(kind: str, number: int) -> str:
    return f"{kind} {number}"


def _events(visit: Visit) -> list[Event]:
    """All steps that count, in order of when they were done; at one instant, of recording."""
    told = [*_taken_out(visit), *_put_back(visit), *_swapped(visit)]
    return [event for _, event in sorted(told, key=lambda row: row[0])]


Told = tuple[tuple[datetime, int], Event]


def _taken_out(visit: Visit) -> Iterator[Told]:
    for row in Teardown.objects.filter(visit=visit):
        items = items_of(row.part, row.places, row.slot)
        key = _key(row.KIND, row.pk)
        if row.voided_at is not None:
            yield (row.happened_at, row.revision or 0), Event(key, "doubted", items=items)
            continue
        event = Event(key, "out", items=items, fasteners=_counts(row.fasteners))
        yield (row.happened_at, row.revision or 0), event


def _put_back(visit: Visit) -> Iterator[Told]:
    for row in Reassembly.objects.filter(visit=visit, voided_at__isnull=True):
        yield (row.happened_at, row.revision or 0), _event_of(row)


def _event_of(row: Reassembly) -> Event:
    key = _key(row.KIND, row.pk)
    if row.kind == Reassembly.Kinds.FITTED:
        items = items_of(row.part, row.places, row.slot)
        return Event(key, "fitted", items=items, fasteners=_counts(row.fasteners))
    if row.kind == Reassembly.Kinds.HALF:
        return Event(key, "half", half=row.half, half_v=row.half_v, current_a=row.current_a or 0.0)
    readings = {int(one["position"]): float(one["rest_v"]) for one in row.readings}
    measured = row.kind == Reassembly.Kinds.POLARITY
    return Event(key, "polarity" if measured else "equalised", readings=readings)


def _swapped(visit: Visit) -> Iterator[Told]:
    rows = SwapChange.objects.filter(
        swap__visit=visit, swap__voided_at__isnull=True, position__isnull=False
    )
    for pk, position, done_at, revision in rows.values_list(
        "pk", "position", "swap__done_at", "swap__revision"
    ):
        item = Item("module", position)
        yield (done_at, revision or 0), Event(_key("change", pk), "swapped", items=(item,))


def items_of(part: str, places: Iterable[int], slot: str) -> tuple[Item, ...]:
    """The things that one step moves."""
    if slot:
        return (Item(part, None, slot),)
    return tuple(Item(part, place) for place in places) or (Item(part),)


def _counts(rows: Iterable[Mapping[str, Any]]) -> tuple[tuple[str, int], ...]:
    return tuple((str(row["kind"]), int(row["count"])) for row in rows)


def _seen(visit: Visit, layout: Layout) -> dict[int, Seat]:
    """How each position is to lie again: as it was seen first on this visit, else by the type.

    The way round is the type's wherever it lists the position.
    """
    lay, asked = {seat.position: seat for seat in layout.positions}, ways_round.listed(layout)
    rows = Teardown.objects.filter(visit=visit, voided_at__isnull=True)
    for seen in rows.order_by("-happened_at", "-pk").values_list("seen", flat=True):
        for one in seen:
            base = lay.get(one["position"], Seat(one["position"], orientation=""))
            named = ("orientation", "sense_lead", "clip", "sensor")
            told = {name: one.get(name) or getattr(base, name) for name in named}
            told["orientation"] = asked.get(one["position"], told["orientation"])
            lay[one["position"]] = Seat(one["position"], **told)
    return dict(sorted(lay.items()))


def _halves(visit: Visit, kind: PackType, lying: State) -> Iterator[Half]:
    string = string_of(kind)
    if string.switch_after is None or not lying.touched:
        return
    checked = _checked(visit, kind, lying)
    for number in (1, 2):
        places = string.positions_of(number)
        readings, missing = _readings(kind, places, lying, checked)
        verdict = _verdict(kind, number, lying, readings) if not missing else None
        said = verdict.said if verdict else _wanted(number, lying, missing)
        told = said if verdict is None else f"Half {number}: {said}"
        yield Half(number, places[0], places[-1], verdict, told)


def _wanted(number: int, lying: State, missing: list[int]) -> str:
    if number not in lying.rest_v:
        return f"Half {number}: measure it alone, without current, before the switch joins it."
    places = ", ".join(str(at) for at in missing)
    return f"Half {number}: no rest voltage of {places} to sum; measure there."


def _verdict(kind: PackType, number: int, lying: State, readings: list[Reading]) -> Verdict | None:
    rest_v = lying.rest_v.get(number)
    if rest_v is None:
        return None
    if number not in lying.load:
        return sum_check.judge(readings, rest_v)
    volts, current_a = lying.load[number]
    each = kind.layout.pass_marks.resistance_mohm
    modules = sum(reading.modules for reading in readings)
    own = None if each is None else each * modules
    return sum_check.judge(readings, rest_v, Load(volts, current_a, own, kind.reference_load_a))


def _readings(
    kind: PackType, places: range, lying: State, checked: Mapping[int, Reading]
) -> tuple[list[Reading], list[int]]:
    """What the half is summed from, and the positions of which nothing is known.

    A position that was not open keeps what the last rest check showed, alone or with its block.
    """
    found: dict[int, Reading] = {}
    missing = []
    for at in places:
        if at in lying.polarity:
            found[at] = Reading(at, 1, lying.polarity[at])
        elif at in checked:
            found[checked[at].first] = checked[at]
        else:
            missing.append(at)
    return [found[first] for first in sorted(found)], missing


def _checked(visit: Visit, kind: PackType, lying: State) -> dict[int, Reading]:
    """By position, its rest reading of the last check that still tells: untouched ones alone."""
    rows = VoltageCheck.objects.filter(
        pack=visit.pack_id,
        voided_at__isnull=True,
        condition=VoltageCheck.Condition.REST,
        level__in=(VoltageCheck.Level.MODULE, VoltageCheck.Level.BLOCK),
    ).filter(Q(visit=visit) | Q(visit__isnull=True, taken_at__gte=visit.opened_at))
    ended_at = None if lock_outs.standing(visit) else lock_outs.ended_at(visit)
    if ended_at is not None:  # the halves were judged then; what came after tells of the whole
        rows = rows.filter(taken_at__lte=ended_at)
    last = rows.order_by("-taken_at", "-revision").first()
    if last is None:
        return {}
    single = last.level == VoltageCheck.Level.MODULE
    sizes = [1] * kind.module_count if single else list(kind.blocks)
    return dict(_untouched(sizes, to_volts(last.voltages).tolist(), lying, kind))


def _untouched(
    sizes: list[int], volts: list[float], lying: State, kind: PackType
) -> Iterator[tuple[int, Reading]]:
    fresh, first = lying.touched | lying.changed | set(lying.polarity), 1
    after = kind.layout.switch_after
    for size, volt in zip(sizes, volts, strict=True):
        places = range(first, first + size)
        parted = after is not None and first <= after < places[-1]
        if not parted and not np.isnan(volt) and not fresh & set(places):
            yield from ((at, Reading(first, size, volt)) for at in places)
        first += size
