"""Tests of parts as they are judged: against the plate, the slot and the pack, as then stated."""

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from packs.models import Component, PackType, PackTypeVersion, PartTest
from packs.reads import component_places, sites, tools
from packs.rules import live, part_verdicts
from packs.rules.arithmetic import highest_v
from packs.rules.layouts import Bus, Slot, layout_of
from packs.rules.part_verdicts import Circuit, Verdict

MICRO, MILLI = 1e-6, 1e-3


@dataclass(frozen=True)
class Judged:
    """What a test says: fails, passes or not_judged, figure by figure, and of the meter."""

    overall: str
    verdicts: tuple[Verdict, ...]
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class _Then:
    """The ratings of a type from their recording on, in order."""

    versions: Sequence[PackTypeVersion]

    def at(self, test: PartTest) -> PackTypeVersion | None:
        number = bisect_right(self.versions, test.recorded_at, key=lambda row: row.recorded_at)
        return self.versions[number - 1] if number else None


def judged(tests: Sequence[PartTest]) -> Mapping[int, Judged]:
    """By id, the verdict on each; the type counts as it stood when the test was recorded."""
    types = {test.pack.pack_type_id for test in tests if test.pack is not None}
    by_type: dict[int, list[PackTypeVersion]] = defaultdict(list)
    for version in PackTypeVersion.objects.filter(pack_type__in=types).order_by("recorded_at"):
        by_type[version.pack_type_id].append(version)
    sat = component_places.of({test.component.tag for test in tests if test.component})
    return {test.pk: _judged(test, by_type, _slot_of(test, sat)) for test in tests}


def _slot_of(test: PartTest, sat: Mapping[str, Sequence[component_places.Sitting]]) -> str:
    """The slot that was named, else the one that the part sat in last before."""
    if test.slot or test.component is None:
        return test.slot
    before = [
        sitting
        for sitting in sat[test.component.tag]
        if sitting.pack_id == test.pack_id
        and (sitting.fitted_at or component_places.BEGINNING) <= test.happened_at
    ]
    return before[-1].slot if before else ""


def _judged(test: PartTest, by_type: Mapping[int, Sequence[PackTypeVersion]], slot: str) -> Judged:
    plate = test.component.ratings if test.component is not None else {}
    asked, circuit = {}, Circuit()
    if test.pack is not None:
        kind = test.pack.pack_type
        ratings = _Then(by_type.get(kind.pk, ())).at(test) or kind
        layout = layout_of(ratings.bench)
        asked = _ratings(layout.slots, slot, test.kind)
        circuit = circuit_of(kind, ratings.max_cell_v, layout.bus)
    verdicts = part_verdicts.judge(
        test.kind, test.measured, plate=plate, slot=asked, circuit=circuit
    )
    day = sites.day(test.happened_at)
    warnings = tuple(tools.warnings(test.equipment, day))
    return Judged(part_verdicts.overall(verdicts), verdicts, warnings)


def _ratings(slots: Sequence[Slot], name: str, kind: str) -> dict[str, object]:
    """What the slot asks for; of a kind that has one slot alone, that one."""
    named = [slot for slot in slots if slot.slot == name]
    alike = [slot for slot in slots if slot.kind == kind]
    found = named or (alike if len(alike) == 1 else [])
    return dict(found[0].ratings) if found else {}


def circuit_of(kind: PackType, max_cell_v: float | None, bus: Bus) -> Circuit:
    """What the parts of a pack of that type work in."""
    cell_v = live.highest_cell_v(kind.chemistry, max_cell_v)
    milliohm, microfarad = bus.pack_resistance_mohm, bus.capacitance_uf
    return Circuit(
        highest_v=highest_v(kind.module_count, kind.cells_per_module, cell_v),
        pack_resistance_ohm=milliohm * MILLI if milliohm else None,
        capacitance_f=microfarad * MICRO if microfarad else None,
    )


def newest_of(component_tags: Sequence[str], slots: Sequence[str], pack_id: int) -> list[PartTest]:
    """The newest standing test of each part, or of each slot of a pack, one a part or slot."""
    rows = PartTest.objects.filter(voided_at__isnull=True).select_related(
        "component", "equipment", "pack__pack_type", "done_by"
    )
    of_parts = rows.filter(component__tag__in=component_tags)
    of_slots = rows.filter(component__isnull=True, pack=pack_id, slot__in=slots)
    found: dict[tuple[str, str], PartTest] = {}
    for test in [*of_parts, *of_slots]:
        key = (test.component.tag, "") if test.component is not None else ("", test.slot)
        kept = found.get(key)
        if kept is None or (test.happened_at, test.pk) > (kept.happened_at, kept.pk):
            found[key] = test
    return list(found.values())


def of_component(component: Component) -> list[PartTest]:
    """The tests of one part that count, the newest first."""
    rows = PartTest.objects.filter(component=component, voided_at__isnull=True)
    found = rows.select_related("component", "equipment", "pack__pack_type", "done_by")
    return list(found.order_by("-happened_at", "-pk"))
