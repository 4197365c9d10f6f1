"""What a step of a reassembly is held against: how it lay, tools, torques, and what can be."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from packs.errors import Fault
from packs.models import Equipment, PackType, Part, Reassembly, Teardown, Visit
from packs.reads import names, sites
from packs.reads import tools as reads
from packs.reads.openings import Opening, items_of
from packs.rules import ways_round
from packs.rules.charge import are_equal, tolerance_v
from packs.rules.fasteners import TORQUE_SHARE, is_off
from packs.rules.layouts import Layout, Seat
from packs.rules.openings import shows_plus, wrong_way
from packs.rules.plausible import CELL_LIMITS_V
from packs.writes import gates
from packs.writes.openings import position_faults

PROVED_BY: Mapping[str, str] = {
    Part.MODULE: "orientation",
    Part.SENSE_HARNESS: "sense_lead",
    Part.CLAMP: "clip",
    Part.SENSOR: "sensor",
}
"""What has to be said of each place of a part that is put back, where it is known how it lay."""

WORDS = {"orientation": "way round", "sense_lead": "sense lead", "clip": "clip", "sensor": "sensor"}


@dataclass(frozen=True)
class Tool:
    """A tool that a step names: where it is named, and of which kind it has to be."""

    row: Equipment
    pointer: str
    kind: str


def tools_of(entry: Mapping[str, Any], meter: Equipment | None) -> list[Tool]:
    """The tools of a step; Contradiction for one that nobody recorded."""
    found = [] if meter is None else [Tool(meter, "/meter", Equipment.Kinds.METER)]
    for index, row in enumerate(entry.get("fasteners") or ()):
        pointer = f"/fasteners/{index}/tool"
        tool = names.equipment(row.get("tool") or None, pointer)
        if tool is not None:
            found.append(Tool(tool, pointer, Equipment.Kinds.TORQUE_TOOL))
    return found


def kind_faults(tools: Sequence[Tool]) -> list[Fault]:
    return [fault for one in tools for fault in gates.kind_faults(one.row, one.kind, one.pointer)]


def bad_faults(tools: Sequence[Tool], when: datetime, visit: Visit) -> list[Fault]:
    on = sites.day(when, gates.site_of(visit))
    return [fault for one in tools for fault in gates.bad_faults(one.row, one.pointer, on)]


def lying_faults(layout: Layout, opening: Opening, entry: Mapping[str, Any]) -> Iterator[Fault]:
    """What lies otherwise than it was seen, or than the type says."""
    said, typed = list(entry.get("seen") or ()), ways_round.listed(layout)
    for index, row in enumerate(said):
        lay = opening.seen.get(row["position"])
        if lay is not None:
            yield from _differing(row, lay, f"/seen/{index}", typed=row["position"] in typed)
    proof = PROVED_BY.get(entry["part"])
    if proof is not None:
        named = {row["position"] for row in said if row.get(proof)}
        yield from _unsaid(opening, entry, proof, named)


def _differing(row: Mapping[str, Any], lay: Seat, pointer: str, *, typed: bool) -> Iterator[Fault]:
    for name, word in WORDS.items():
        now, before = row.get(name), getattr(lay, name)
        if not now or not before or now == before:
            continue
        if typed and name == "orientation":
            yield Fault(
                f"{pointer}/{name}",
                "not_as_the_type",
                f"Position {lay.position} lies '{now}' now, and the type says '{before}'; turn it, "
                "then note it again. Where the type is wrong, correct the type first.",
            )
        else:
            yield Fault(
                f"{pointer}/{name}",
                "not_as_it_was",
                f"Position {lay.position}: the {word} is '{now}' now and was '{before}'; put it "
                "back as it was, then note it again.",
            )


def _unsaid(
    opening: Opening, entry: Mapping[str, Any], proof: str, named: set[int]
) -> Iterator[Fault]:
    for index, place in enumerate(entry.get("places") or ()):
        lay = opening.seen.get(place)
        if lay is not None and getattr(lay, proof) and place not in named:
            yield Fault(
                f"/places/{index}",
                "say_how_it_lies",
                f"Position {place}: look at the {WORDS[proof]} and say it under seen; it is held "
                "against how it was.",
            )


def measured_faults(kind: PackType, entry: Mapping[str, Any]) -> list[Fault]:
    """Readings at positions that the type has, of voltages that its modules can have."""
    rows = entry.get("readings") or ()
    faults = [*position_faults(kind, "/readings", rows)]
    for index, row in enumerate(rows):
        faults += _volt_faults(kind, 1, row["rest_v"], f"/readings/{index}/rest_v")
    if entry["kind"] == Reassembly.Kinds.HALF:
        faults += _half_faults(kind, entry)
    if entry["kind"] == Reassembly.Kinds.EQUALISED:
        faults += _charge_faults(kind, entry)
    return faults


def _half_faults(kind: PackType, entry: Mapping[str, Any]) -> Iterator[Fault]:
    after = kind.layout.switch_after
    if after is None:
        sentence = (
            f"Type {kind.code} does not say where its service switch parts the string; add "
            "switch_after to the type first."
        )
        yield Fault("/half", "switch_unknown", sentence)
        return
    modules = after if entry["half"] == 1 else kind.module_count - after
    yield from _volt_faults(kind, modules, entry["half_v"], "/half_v")


def _volt_faults(kind: PackType, modules: int, volts: float, pointer: str) -> Iterator[Fault]:
    cells = kind.cells_per_module * modules
    highest = cells * CELL_LIMITS_V[kind.chemistry][1]
    if abs(volts) > highest:
        what = "One module" if modules == 1 else f"{modules} modules"
        sentence = (
            f"{what} of {cells} cells can not show {volts:g} V, {highest:g} V at most; measure "
            "again, or look at the decimal mark."
        )
        yield Fault(pointer, "out_of_range", sentence)


def _charge_faults(kind: PackType, entry: Mapping[str, Any]) -> Iterator[Fault]:
    volts = [row["rest_v"] for row in entry.get("readings") or ()]
    cells, room = kind.cells_per_module, tolerance_v(kind.cells_per_module, kind.chemistry)
    if len(volts) < 2:
        sentence = (
            "Give the rest voltages of two modules or more, and of each that was taken out or "
            "changed; a note alone does not show that they are equal."
        )
        yield Fault("/readings", "needed", sentence)
    elif volts and not are_equal(volts, cells, kind.chemistry):
        sentence = (
            f"They lie {max(volts) - min(volts):.2f} V apart, more than {room:.2f} V: charge the "
            "low ones, let them rest, and measure again."
        )
        yield Fault("/readings", "not_equal", sentence)


def fastener_row(row: Mapping[str, Any]) -> dict[str, Any]:
    """Fasteners of one kind as they are kept, what nobody said left out."""
    counted = {"kind": row["kind"], "count": row["count"]}
    named = ("torque_nm", "tool", "order", "paint")
    return {**counted, **{name: row[name] for name in named if row.get(name)}}


def warnings(
    layout: Layout,
    entry: Mapping[str, Any],
    tools: Sequence[Tool],
    when: datetime,
    visit: Visit,
) -> Iterator[str]:
    """What is kept and told: it does not stop the work."""
    on = sites.day(when, gates.site_of(visit))
    for code in {one.row.code: one.row for one in tools}.values():
        yield from reads.warnings(code, on)
    asked = {torque.fastener: torque for torque in layout.torques}
    for row in entry.get("fasteners") or ():
        torque = asked.get(row["kind"])
        if torque is not None:
            yield from _torque_warnings(row, torque.torque_nm, paint=torque.paint)


def read_warnings(entry: Mapping[str, Any]) -> Iterator[str]:
    """Positions whose polarity does not show the right way round."""
    if entry["kind"] != Reassembly.Kinds.POLARITY:
        return
    for row in entry.get("readings") or ():
        if not shows_plus(row["rest_v"]):
            yield wrong_way(row["position"], row["rest_v"])


def left_warnings(visit: Visit, opening: Opening, entry: Mapping[str, Any]) -> Iterator[str]:
    """Fasteners of the part put back that stay out: all of a kind, or some with nothing more of
    the part to come."""
    if entry["kind"] != Reassembly.Kinds.FITTED:
        return
    part, kinds = entry["part"], _kinds_with(visit, opening, entry["part"])
    sent = {row["kind"]: row["count"] for row in entry.get("fasteners") or ()}
    own = items_of(part, entry.get("places") or (), entry.get("slot") or "")
    more = any(item.part == part and item not in own for item in opening.out)
    for row in opening.fasteners:
        left = row.left - sent.get(row.kind, 0)
        if row.kind in kinds and left > 0 and not (more and row.kind in sent):
            yield (
                f"{row.kind}: {left} of this part left. Send them as another step fitted, with "
                "the same part and places and the fasteners alone."
            )


def _kinds_with(visit: Visit, opening: Opening, part: str) -> set[str]:
    """The kinds of fasteners that the type lists with the part, or that came out with it."""
    rows = Teardown.objects.filter(visit=visit, part=part, voided_at__isnull=True)
    came = {row["kind"] for told in rows.values_list("fasteners", flat=True) for row in told}
    return came | {row.kind for row in opening.fasteners if row.part == part and row.listed}


def _torque_warnings(row: Mapping[str, Any], listed_nm: float, *, paint: bool) -> Iterator[str]:
    kind, said = row["kind"], row.get("torque_nm")
    if said is None:
        yield f"{kind}: the type asks for {listed_nm:g} N·m; no torque is noted."
    elif is_off(said, listed_nm):
        share = round(TORQUE_SHARE * 100)
        yield (
            f"{kind}: {said:g} N·m, more than {share} % off the type's {listed_nm:g} N·m; loosen "
            "and tighten again, or look at the tool."
        )
    if said is not None and not row.get("tool"):
        yield f"{kind}: no torque tool is named."
    if paint and not row.get("paint"):
        yield f"{kind}: the type asks for a paint mark; none is noted."
