"""What the bench needs to know of a pack type: where things sit, and what the work asks for.

A type keeps it as one JSON object, version by version, under the names of `KEYS`; what a type does
not say is empty here, and nobody guesses it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

KEYS = (
    "switch_after", "second_person", "positions", "slots", "fasteners", "torques", "waits",
    "pass_marks", "protocol", "bus", "stock_minimum",
)  # fmt: skip

SETTLED_PCT = 3.0
"""Change of capacity from one cycle to the next under which it is settled, %. Common practice,
no source."""

CUT_OFF_CELL_V = 1.0
"""End of the discharge of a nickel-metal-hydride cell, V (IEC 61951-2, 7.3)."""


@dataclass(frozen=True)
class Seat:
    """One position: which way round its module lies, and what is clipped to it."""

    position: int
    orientation: str = "normal"
    sense_lead: str = ""
    clip: str = ""
    sensor: str = ""


@dataclass(frozen=True)
class Slot:
    """One place for a part of a kind, such as 'main_contactor:plus', with what it must stand."""

    slot: str
    kind: str
    ratings: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Fastener:
    """Fasteners of one kind: how many a whole pack has, of which part; loose ones fall out."""

    kind: str
    count: int
    part: str = "other"
    loose: bool = False


@dataclass(frozen=True)
class Torque:
    """How a kind of fastener is tightened: N·m, in which order, marked with paint or not."""

    fastener: str
    torque_nm: float
    order: str = ""
    paint: bool = False


@dataclass(frozen=True)
class Waits:
    """Minutes: after the switch is out, and of rest before a voltage counts as at rest."""

    discharge_min: float = 0.0
    rest_min: float = 0.0


@dataclass(frozen=True)
class PassMarks:
    """What a module of the type must show; None: the type does not say.

    Ah at the least, mΩ, mV a day and kg at the most, settled under so many %.
    """

    capacity_ah: float | None = None
    resistance_mohm: float | None = None
    stand_mv_per_day: float | None = None
    settled_pct: float = SETTLED_PCT


@dataclass(frozen=True)
class Protocol:
    """How capacity is measured: charge by ampere-hours, rest, discharge to the cut-off."""

    charge_a: float | None = None
    charge_ah: float | None = None
    stop_temperature_c: float | None = None
    rest_min: float | None = None
    discharge_a: float | None = None
    cut_off_cell_v: float = CUT_OFF_CELL_V
    cycles: int = 3
    pulse_a: float | None = None
    pulse_s: float | None = None


@dataclass(frozen=True)
class Bus:
    """The car's side of the contactors: capacitance, and what the pack's fuse must break."""

    capacitance_uf: float | None = None
    pack_resistance_mohm: float | None = None


@dataclass(frozen=True)
class Layout:
    """All of it; `switch_after` is the module that the service switch follows."""

    switch_after: int | None
    second_person: bool
    positions: tuple[Seat, ...]
    slots: tuple[Slot, ...]
    fasteners: tuple[Fastener, ...]
    torques: tuple[Torque, ...]
    waits: Waits
    pass_marks: PassMarks
    protocol: Protocol
    bus: Bus
    stock_minimum: Mapping[str, int]


def layout_of(bench: Mapping[str, Any]) -> Layout:
    """What a type says for the bench, from the JSON it keeps; made complete with empties."""
    return Layout(
        switch_after=bench.get("switch_after"),
        second_person=bool(bench.get("second_person", False)),
        positions=tuple(Seat(**row) for row in _rows(bench, "positions")),
        slots=tuple(Slot(**row) for row in _rows(bench, "slots")),
        fasteners=tuple(Fastener(**row) for row in _rows(bench, "fasteners")),
        torques=tuple(Torque(**row) for row in _rows(bench, "torques")),
        waits=Waits(**_given(bench, "waits")),
        pass_marks=PassMarks(**_given(bench, "pass_marks")),
        protocol=Protocol(**_given(bench, "protocol")),
        bus=Bus(**_given(bench, "bus")),
        stock_minimum=dict(bench.get("stock_minimum") or {}),
    )


def kept(layout: Layout) -> dict[str, Any]:
    """The JSON that a type keeps of it: what it says alone, in one form for equal content."""
    empty, said = asdict(layout_of({})), asdict(layout)
    said["positions"] = sorted(said["positions"], key=lambda row: int(row["position"]))
    return {name: _plain(said[name]) for name in KEYS if said[name] not in (empty[name], [])}


def _plain(value: Any) -> Any:
    if isinstance(value, list | tuple):
        return [_known(row) for row in value]
    return _known(value) if isinstance(value, dict) else value


def _rows(bench: Mapping[str, Any], name: str) -> Sequence[Mapping[str, Any]]:
    return [_known(row) for row in bench.get(name) or ()]


def _given(bench: Mapping[str, Any], name: str) -> Mapping[str, Any]:
    return _known(bench.get(name) or {})


def _known(row: Mapping[str, Any]) -> Mapping[str, Any]:
    """Null says no more than leaving out."""
    return {name: value for name, value in row.items() if value is not None}
